// How a long piece of work tells where it is, and how it is told to stop.
#pragma once

#include <functional>
#include <stop_token>
#include <string>

namespace eyelet {

struct Progress {
    double share = 0;  // of the whole, 0 to 1
    std::string what;  // one short sentence for the person
};

struct Watch {
    std::function<void(const Progress&)> progress;  // may be empty; called from the thread that works
    std::stop_token stop;                           // asked now and then; stopping stores nothing

    void tell(double share, const std::string& what) const {
        if (progress) progress({share, what});
    }
    // For a step that is the stretch from `low` to `high` of the whole.
    [[nodiscard]] Watch stretch(double low, double high) const {
        if (!progress) return *this;
        return {[whole = progress, low, high](const Progress& step) {
                    whole({low + (high - low) * step.share, step.what});
                },
                stop};
    }
};

}  // namespace eyelet
