// How long the budget of a project takes, and reading the project before it.
#include <fstream>
#include <sstream>

#include <benchmark/benchmark.h>

#include "bench/orchard.hpp"

namespace perdure::bench {
namespace {

void budget(benchmark::State& state) {
    const Project& project = orchard().project;
    for (auto _ : state) {
        auto result = make_budget(project);
        benchmark::DoNotOptimize(result);
    }
}
BENCHMARK(budget)->Unit(benchmark::kMillisecond);

void project_read(benchmark::State& state) {
    std::stringstream text;
    text << std::ifstream(PERDURE_SOURCE_DIR "/examples/orchard-valve/orchard-valve.toml").rdbuf();
    const std::string file = text.str();
    for (auto _ : state) {
        auto result = read_project(file, "orchard-valve.toml", catalog());
        if (!result) { state.SkipWithError("the example was refused"); }
        benchmark::DoNotOptimize(result);
    }
}
BENCHMARK(project_read)->Unit(benchmark::kMicrosecond);

} // namespace
} // namespace perdure::bench
