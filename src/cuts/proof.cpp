#include "cuts/proof.hpp"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <mutex>
#include <numeric>
#include <thread>

#include <fmt/format.h>

namespace perdure {
namespace {

constexpr std::string_view turn_letters = "abtrxsni";
constexpr size_t records_max = 3; ///< whose puts are combined with each other on the small ring

/// The smallest ring blocks in which the records fit, `blocks` of them.
tl::expected<AreaLayout, Refusal> small_ring(const AreaLayout& own, const std::vector<const Record*>& records,
                                             uint32_t check_bits) {
    FlashGeometry geometry = own.geometry;
    geometry.ring_blocks = std::min(geometry.ring_blocks, 4U);
    geometry.erase_blocks_per_ring_block = 1;
    for (uint32_t units = 8;; units++) {
        geometry.erase_block_bytes = units * geometry.unit_bytes;
        auto layout = lay_out_ring(geometry, check_bits, records);
        if (layout || units >= own.geometry.units_per_ring_block()) { return layout; }
    }
}

/// Records by how often they are saved, the largest entry second, so that few stand for all.
std::vector<uint16_t> chosen_records(const AreaLayout& layout, const std::vector<double>& weights) {
    std::vector<uint16_t> order(weights.size());
    std::iota(order.begin(), order.end(), uint16_t{0});
    std::stable_sort(order.begin(), order.end(), [&](uint16_t a, uint16_t b) { return weights[a] > weights[b]; });
    if (order.size() > 2) {
        const auto largest = std::max_element(order.begin() + 1, order.end(), [&](uint16_t a, uint16_t b) {
            return layout.records[a].full_units < layout.records[b].full_units;
        });
        std::rotate(order.begin() + 1, largest, largest + 1);
    }
    order.resize(std::min(order.size(), records_max));
    return order;
}

std::vector<Action> alphabet(const AreaLayout& layout, const std::vector<const Record*>& records,
                             const std::vector<double>& weights) {
    std::vector<Action> actions;
    for (const uint16_t record : chosen_records(layout, weights)) {
        actions.push_back({Action::Kind::put_small, record});
        if (records[record]->kind == RecordKind::total) { actions.push_back({Action::Kind::put_large, record}); }
    }
    actions.push_back({Action::Kind::service, 0});
    actions.push_back({Action::Kind::restart, 0});
    return actions;
}

/// Saves in the proportions of life, every record at least once, until about a turn of the ring has been filled.
std::vector<Action> turn_of_life(const AreaLayout& layout, const std::vector<double>& weights) {
    std::vector<Action> actions;
    const double most = *std::max_element(weights.begin(), weights.end());
    const double units = double(layout.geometry.units_per_ring_block()) * (layout.geometry.ring_blocks + 1);
    std::vector<double> due(weights.size(), 1);
    double used = 0;
    while (used < units) {
        for (size_t i = 0; i < weights.size(); i++) {
            due[i] += most > 0 ? weights[i] / most : 1;
            if (due[i] < 1) { continue; }
            due[i] -= 1;
            actions.push_back({Action::Kind::put_small, static_cast<uint16_t>(i)});
            actions.push_back({Action::Kind::service, 0});
            const RecordLayout& record = layout.records[i];
            used += record.short_units != 0 ? record.short_units : record.full_units;
        }
    }
    return actions;
}

SearchResult run_search(const ProofPart& part, const Search& search) {
    return part.workload ? search_workload(search, part.actions, part.length)
                         : search_sequences(search, part.actions, part.length);
}

} // namespace

std::vector<ProofPart> plan_proof(const AreaLayout& layout, const std::vector<const Record*>& records,
                                  const std::vector<double>& weights, uint32_t check_bits,
                                  const ProofOptions& options) {
    std::vector<ProofPart> parts;
    const unsigned depth = std::min(options.depth_max, layout.geometry.ring_blocks < 4 ? 1U : 2U);
    const auto small = small_ring(layout, records, check_bits);
    if (small) {
        const auto actions = alphabet(layout, records, weights);
        for (unsigned deep = std::min(depth, 1U); deep <= depth; deep++) {
            for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped, Begin::bad_block}) {
                // One block that failed leaves three good ones, and their depth.
                if (begin == Begin::bad_block && (small->geometry.ring_blocks < 4 || deep > 1)) { continue; }
                ProofPart part;
                part.search.layout = *small;
                part.search.records = records;
                part.search.device = options.device;
                part.search.device.all_torn_bits = deep < 2;
                part.search.begin = begin;
                part.search.depth = deep;
                part.actions = actions;
                part.length = deep < 2 && begin != Begin::bad_block ? options.length_max : 1;
                std::string word{name_of(begin)};
                std::replace(word.begin(), word.end(), ' ', '-');
                part.name = fmt::format("small-{}-{}", word, deep);
                part.about = fmt::format("{} blocks of {} units, {}: every sequence of up to {} of {} actions, {} more "
                                         "cut{} in starts{}",
                                         small->geometry.ring_blocks, small->geometry.units_per_ring_block(),
                                         name_of(begin), part.length, actions.size(), deep, deep == 1 ? "" : "s",
                                         deep < 2 ? "" : "; a torn unit reads blank, whole or as half of its bits");
                parts.push_back(std::move(part));
            }
        }
    }
    const auto actions = turn_of_life(layout, weights);
    Search search;
    search.layout = layout;
    search.records = records;
    search.device = options.device;
    search.device.all_torn_bits = false;
    search.begin = Begin::wrapped;
    search.depth = std::min(depth, 1U);
    const auto every = static_cast<unsigned>(std::max<size_t>(1, actions.size() / std::max(1U, options.nested_saves)));
    parts.push_back(
        {"own-turn",
         fmt::format("{} blocks of {} units: {} saves and calls of service, more than a turn; a cut in the "
                     "start after one in {} of them and wherever a block is opened or erased; a torn unit reads "
                     "blank, whole or as half of its bits",
                     layout.geometry.ring_blocks, layout.geometry.units_per_ring_block(), actions.size(), every),
         search, actions, true, every});
    return parts;
}

SearchResult run_part(const ProofPart& part, const ProofOptions& options, double seconds_max,
                      const std::function<void(double)>& progress) {
    const unsigned threads = part.search.replay ? 1 : std::max(1U, options.threads);
    std::vector<SearchResult> results(threads);
    std::vector<double> shares(threads, 0);
    std::vector<std::thread> running;
    std::mutex lock;
    for (unsigned i = 0; i < threads; i++) {
        Search search = part.search;
        if (!part.search.replay) {
            search.shards = options.shards * threads;
            search.shard = options.shard * threads + i;
        }
        search.seconds_max = seconds_max;
        search.progress = [&, i](double share) {
            const std::lock_guard guard(lock);
            shares[i] = share;
            if (progress) { progress(*std::min_element(shares.begin(), shares.end())); }
        };
        running.emplace_back([&, i, search] { results[i] = run_search(part, search); });
    }
    for (std::thread& thread : running) { thread.join(); }
    SearchResult all = std::move(results[0]);
    for (unsigned i = 1; i < threads; i++) {
        all.counts += results[i].counts;
        all.complete = all.complete && results[i].complete;
        all.share = std::min(all.share, results[i].share);
        if (results[i].failure && (!all.failure || results[i].failure->path.size() < all.failure->path.size())) {
            all.failure = std::move(results[i].failure);
        }
    }
    return all;
}

std::vector<PartResult> run_proof(const std::vector<ProofPart>& parts, const ProofOptions& options) {
    std::vector<PartResult> results;
    const auto begun = std::chrono::steady_clock::now();
    const auto spent = [&] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count(); };
    for (size_t i = 0; i < parts.size(); i++) {
        const double before = spent();
        double seconds = 0;
        if (options.seconds_max > 0) {
            seconds = std::max(0.01, (options.seconds_max - before) / static_cast<double>(parts.size() - i));
        }
        PartResult part;
        part.result = run_part(parts[i], options, seconds, [&](double share) {
            if (options.progress) { options.progress(i, share); }
        });
        part.seconds = spent() - before;
        results.push_back(std::move(part));
        if (results.back().result.failure) { break; }
    }
    return results;
}

std::string path_text(const std::vector<uint64_t>& path) {
    std::string text;
    for (const uint64_t step : path) {
        text += fmt::format("{}{}{}", text.empty() ? "" : ".", turn_letters[step & 7], step >> 3);
    }
    return text;
}

std::vector<uint64_t> path_from(std::string_view text) {
    std::vector<uint64_t> path;
    while (!text.empty()) {
        const size_t turn = turn_letters.find(text[0]);
        uint64_t number = 0;
        const auto [end, error] = std::from_chars(text.data() + 1, text.data() + text.size(), number);
        const bool more = end != text.data() + text.size();
        if (turn == std::string_view::npos || error != std::errc{} || (more && *end != '.')) { return {}; }
        path.push_back(number << 3 | turn);
        text.remove_prefix(static_cast<size_t>(end - text.data()) + (more ? 1 : 0));
        if (more && text.empty()) { return {}; }
    }
    return path;
}

} // namespace perdure
