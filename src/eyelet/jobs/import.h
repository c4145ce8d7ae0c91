// From a survey to a job: reads and decodes the photographs, checks everything, then stores map, unit, job
// and photographs in one transaction. A refusal changes nothing.
#pragma once

#include <string>

#include "eyelet/bench/store.h"
#include "eyelet/exchange/survey.h"
#include "eyelet/jobs/watch.h"

namespace eyelet {

struct ImportOptions {
    std::string complaint;  // stands before the survey's own
    std::string condition;
    std::string unit;  // serial number; stands before the survey's own
    Who who;
};

// REQUIRES: a survey that read_survey returned (its photographs have paths).
[[nodiscard]] Result<Job> import_survey(Store& store, const Survey& survey, const ImportOptions& options,
                                        const Watch& watch = {});

// One more photograph of a job's board, for example from the page. Decoded before it is stored.
[[nodiscard]] Result<Photograph> add_job_photograph(Store& store, const JobName& job,
                                                    NewPhotograph photograph, const Who& who);

}  // namespace eyelet
