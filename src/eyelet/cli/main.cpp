#include "eyelet/cli/run.h"

int main(int argc, char** argv) {
    return eyelet::cli::run(argc, argv);
}
