#include "budget/newest.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace perdure {

namespace {

/// Chance that two starts in a row, one at a random time in each turn, lie more than `starts` turns apart.
double gap_above(double starts) {
    if (starts < 1) { return 1 - starts * starts / 2; }
    return starts < 2 ? (2 - starts) * (2 - starts) / 2 : 0;
}

/// Density, at `t` seconds before a random moment, of the last save being one of each record between the starts.
void last_saved(const std::vector<RecordTraffic>& records, double random_per_s, double t, std::vector<double>& out) {
    double even = std::exp(-random_per_s * t);
    for (const RecordTraffic& record : records) {
        if (record.period_s > 0) { even *= std::max(0.0, 1 - t / record.period_s); }
    }
    for (size_t i = 0; i < records.size(); ++i) {
        const double period = records[i].period_s;
        out[i] = records[i].random_per_s * even;
        if (period > t) { out[i] += even / (1 - t / period) / period; }
    }
}

/// Chances of no and of one save of a record during `s` seconds, at random or of unknown phase.
void saves_within(const RecordTraffic& record, double s, double& none, double& one) {
    if (record.period_s <= 0) { return; }
    const double turns = s / record.period_s;
    const double own_none = std::max(0.0, 1 - turns);
    const double own_one = turns < 1 ? turns : std::max(0.0, 2 - turns);
    one = one * own_none + none * own_one;
    none *= own_none;
}

/// The saves between two starts, over the distances that two starts may have: none to two turns, one most likely.
void count_between(const Traffic& traffic, int pieces, Newest& out) {
    double random_per_s = 0;
    for (const RecordTraffic& record : traffic.records) { random_per_s += record.random_per_s; }
    const double width = 2.0 / pieces;
    for (int piece = 0; piece < pieces; ++piece) {
        const double turns = (piece + 0.5) * width;
        const double s = turns / traffic.starts_per_s;
        const double weight = (turns < 1 ? turns : 2 - turns) * width;
        double none = std::exp(-random_per_s * s), one = random_per_s * s * none;
        for (const RecordTraffic& record : traffic.records) { saves_within(record, s, none, one); }
        out.none_between += weight * none;
        out.one_between += weight * one;
    }
}

} // namespace

double no_start_within(double starts) {
    if (starts < 1) { return 1 - starts + starts * starts * starts / 6; }
    return starts < 2 ? std::pow(2 - starts, 3) / 6 : 0;
}

namespace {

Newest integrated(const Traffic& traffic, int pieces) {
    constexpr double negligible = 30; // exp(-30) of anything
    const size_t count = traffic.records.size();
    Newest out;
    out.saved.assign(count, 0);
    double random_per_s = 0, between_per_s = 0, at_start = 0, none = 1;
    double end_s = std::numeric_limits<double>::infinity();
    for (const RecordTraffic& record : traffic.records) {
        random_per_s += record.random_per_s;
        between_per_s += record.between_per_s();
        at_start += record.at_start;
        none *= 1 - std::min(1.0, record.at_start);
        if (record.period_s > 0) { end_s = std::min(end_s, record.period_s); }
    }
    if (random_per_s > 0) { end_s = std::min(end_s, negligible / random_per_s); }
    const double starts_per_s = traffic.starts_per_s;
    const bool saving_starts = at_start > 0 && starts_per_s > 0;
    if (saving_starts) { // none of them saved in so many starts
        end_s = std::min(end_s, (2 + (none > 0 ? negligible / -std::log(none) : 0)) / starts_per_s);
    }
    double sum = 0, starts_before = 0;
    if (between_per_s > 0) {
        std::vector<double> density(count);
        for (int piece = 0; piece < pieces; ++piece) { // by midpoints
            const double t = (piece + 0.5) * end_s / pieces;
            const double starts = t * starts_per_s;
            const double apart = gap_above(starts);
            const double unbroken =
                saving_starts ? apart + (1 - apart) * (none > 0 ? std::pow(none, std::max(1.0, starts)) : 0) : 1;
            last_saved(traffic.records, random_per_s, t, density);
            for (size_t i = 0; i < count; ++i) {
                out.saved[i] += density[i] * unbroken * end_s / pieces;
                starts_before +=
                    density[i] * end_s / pieces *
                    (saving_starts ? (starts < 1 || none > 0 ? std::pow(none, std::floor(starts)) : 0) : 1);
            }
        }
        for (const double share : out.saved) { sum += share; }
        starts_before *= starts_per_s / between_per_s;
    }
    if (saving_starts) {
        double later = 1;
        const double left = std::max(0.0, 1 - sum) / (1 - none);
        for (size_t i = count; i-- > 0;) {
            const double own = std::min(1.0, traffic.records[i].at_start);
            out.saved[i] += left * own * later;
            later *= 1 - own;
        }
        const double after_starts = starts_per_s * at_start / (between_per_s + starts_per_s * at_start);
        starts_before += (left - starts_before) * after_starts;
        sum = 1;
    }
    for (double& share : out.saved) { share = sum > 0 ? share / sum : 1.0 / double(count); }
    out.starts_before_a_save = starts_before;
    if (starts_per_s > 0) { count_between(traffic, pieces, out); }
    return out;
}

} // namespace

Newest newest_at_starts(const Traffic& traffic, Precision precision) {
    const int pieces = precision == Precision::coarse ? 100 : 400;
    // One budget asks for the same two or three traffics on one ring after another, so the last answers are kept.
    struct Answer {
        Traffic traffic;
        int pieces = 0;
        Newest newest;
    };
    constexpr size_t kept = 4;
    thread_local std::vector<Answer> answers;
    thread_local size_t oldest = 0;
    for (const Answer& answer : answers) {
        if (answer.pieces == pieces && answer.traffic == traffic) { return answer.newest; }
    }
    Answer answer{traffic, pieces, integrated(traffic, pieces)};
    if (answers.size() < kept) { return answers.emplace_back(std::move(answer)).newest; }
    answers[oldest] = std::move(answer);
    const Newest& out = answers[oldest].newest;
    oldest = (oldest + 1) % kept;
    return out;
}

} // namespace perdure
