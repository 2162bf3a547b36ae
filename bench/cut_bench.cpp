// The power-cut search on a tiny ring: cut trials a second, on one core and on two. A cut trial is one cut point with
// one way its weak units may read; those that lead to a state already tried are answered without running it again
// (`distinct` counts the others).
#include <thread>

#include <benchmark/benchmark.h>

#include "cuts/proof.hpp"

namespace perdure::bench {
namespace {

void cut_trials(benchmark::State& state) {
    Record total;
    total.name = "total";
    total.id = 1;
    total.kind = RecordKind::total;
    total.fields = {Field{"count", FieldType::u32, 4, std::nullopt, 10, {}}};
    Record value;
    value.name = "value";
    value.id = 2;
    value.fields = {Field{"setting", FieldType::u16, 2, std::nullopt, 0, {}}};
    FlashGeometry geometry;
    geometry.erase_block_bytes = 32 * geometry.unit_bytes;
    const auto layout = lay_out_ring(geometry, 16, {&total, &value});
    if (!layout) {
        state.SkipWithError("the records do not fit the ring");
        return;
    }
    ProofPart part;
    part.search.layout = *layout;
    part.search.records = {&total, &value};
    part.length = 2;
    part.actions = {{Action::Kind::put_small, 0},
                    {Action::Kind::put_small, 1},
                    {Action::Kind::put_large, 0},
                    {Action::Kind::service, 0},
                    {Action::Kind::restart, 0}};
    ProofOptions options;
    options.threads = static_cast<unsigned>(state.range(0));
    double trials = 0;
    double distinct = 0;
    for (auto _ : state) {
        const SearchResult result = run_part(part, options, 0, {});
        if (result.failure) { state.SkipWithError("the store loses something"); }
        trials += static_cast<double>(result.counts.trials + result.counts.equal);
        distinct += static_cast<double>(result.counts.trials);
    }
    state.counters["cut_trials"] = benchmark::Counter(trials, benchmark::Counter::kIsRate);
    state.counters["distinct"] = benchmark::Counter(distinct, benchmark::Counter::kIsRate);
}
BENCHMARK(cut_trials)->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->UseRealTime();

} // namespace
} // namespace perdure::bench
