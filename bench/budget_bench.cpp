// How long the budget of a project takes, and reading the project before it.
#include <cmath>
#include <fstream>
#include <sstream>

#include <benchmark/benchmark.h>

#include "bench/orchard.hpp"
#include "budget/sensitivity.hpp"
#include "choose/choose.hpp"

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

/// The budget of one project on every part of the catalogue, one after another; items are parts that gave a budget.
void budget_catalogue(benchmark::State& state) {
    std::vector<Project> projects;
    for (const Device& part : catalog().devices) {
        Project project = orchard().project;
        project.part = part;
        projects.push_back(std::move(project));
    }
    int64_t given = 0;
    for (auto _ : state) {
        for (const Project& project : projects) {
            auto result = make_budget(project);
            given += result.has_value() ? 1 : 0;
            benchmark::DoNotOptimize(result);
        }
    }
    if (given == 0) { state.SkipWithError("no part gave a budget"); }
    state.SetItemsProcessed(given);
    state.counters["parts"] = static_cast<double>(given) / static_cast<double>(state.iterations());
}
BENCHMARK(budget_catalogue)->Unit(benchmark::kMillisecond);

/// `choose` over the whole catalogue, external memories too: ways to save x rings a part.
void choose_catalogue(benchmark::State& state) {
    ChooseOptions options;
    options.policies.clear();
    for (int64_t i = 0; i < state.range(0); ++i) {
        options.policies.push_back({std::pow(2.0, double(i) - 1), {}, false});
    }
    options.layouts = static_cast<uint32_t>(state.range(1));
    size_t candidates = 0;
    for (auto _ : state) {
        const Choice choice = choose(orchard().project, catalog(), options);
        candidates = choice.candidates.size();
        if (!choice.winner) { state.SkipWithError("nothing holds"); }
    }
    state.counters["candidates"] = static_cast<double>(candidates);
}
BENCHMARK(choose_catalogue)
    ->ArgNames({"policies", "layouts"})
    ->Args({1, 3})
    ->Args({5, 8})
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime();

void budget_sensitivity(benchmark::State& state) {
    const Budget before = make_budget(orchard().project).value();
    for (auto _ : state) {
        auto result = sensitivity_of(orchard().project, before);
        benchmark::DoNotOptimize(result);
    }
}
BENCHMARK(budget_sensitivity)->Unit(benchmark::kMillisecond);

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
