// Everything that the report of a job shows, collected as the plain values that report/ draws.
#pragma once

#include "eyelet/bench/store.h"
#include "eyelet/report/job_report.h"

namespace eyelet {

[[nodiscard]] Result<report::JobReport> report_of(Store& store, const JobName& job);

}  // namespace eyelet
