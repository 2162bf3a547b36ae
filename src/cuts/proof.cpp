#include "cuts/proof.hpp"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <mutex>
#include <thread>

#include <fmt/format.h>

namespace perdure {
namespace {

constexpr std::string_view turn_letters = "abtrxsni";
constexpr double shorter_seconds_max = 10; ///< that a shorter failure is looked for

SearchResult run_search(const ProofPart& part, const Search& search) {
    return part.workload ? search_workload(search, part.actions, part.length)
                         : search_sequences(search, part.actions, part.length);
}

/// The search on all threads.
SearchResult run_shares(const ProofPart& part, const ProofOptions& options, double seconds_max,
                        const std::function<void(double)>& progress) {
    const unsigned threads = part.search.replay ? 1 : std::max(1U, options.threads);
    std::vector<SearchResult> results(threads);
    std::vector<double> shares(threads, 0);
    std::vector<std::thread> running;
    std::mutex lock;
    for (unsigned i = 0; i < threads; i++) {
        Search search = part.search;
        if (!part.search.replay) {
            // A shard is the same cuts however many threads share them: other machines may have other cores.
            search.shards = options.shards * threads;
            search.shard = options.shard + options.shards * i;
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
    for (unsigned i = 1; i < threads; i++) { all.add(std::move(results[i])); }
    return all;
}

/// A search goes deep first, so that the failure it meets first may be a long one: puts a shorter one in its place, if
/// one is found with fewer cuts in starts or fewer actions. The same part plays it again, as it tries all of those too.
void shorten(const ProofPart& part, SearchFailure& failure) {
    const auto begun = std::chrono::steady_clock::now();
    const unsigned length = part.workload ? 1 : part.length;
    for (unsigned depth = 0; depth <= part.search.depth; depth++) {
        for (unsigned actions = 1; actions <= length; actions++) {
            const std::chrono::duration<double> spent = std::chrono::steady_clock::now() - begun;
            const bool same = depth == part.search.depth && actions == length;
            if (same || spent.count() >= shorter_seconds_max) { return; }
            ProofPart less = part;
            less.search.depth = depth;
            less.search.seconds_max = shorter_seconds_max - spent.count();
            less.length = part.workload ? part.length : actions;
            SearchResult found = run_search(less, less.search);
            if (found.failure && found.failure->path.size() < failure.path.size()) {
                failure = std::move(*found.failure);
                return;
            }
        }
    }
}

} // namespace

SearchResult run_part(const ProofPart& part, const ProofOptions& options, double seconds_max,
                      const std::function<void(double)>& progress) {
    SearchResult found = run_shares(part, options, seconds_max, progress);
    if (found.failure && !part.search.replay) { shorten(part, *found.failure); }
    return found;
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
