// The budget's wear against the real store: the same saves and starts through store.c, erases counted. They must agree
// within 0.5 %.
#include <cmath>
#include <numeric>
#include <queue>
#include <random>
#include <stdexcept>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "budget/count_walk.hpp"
#include "budget/ring_wear.hpp"
#include "project/sample_rings.hpp"
#include "unit/unit.hpp"

namespace perdure {
namespace {

/// The store of a product whose values all grow by one.
class Product {
public:
    Product(const AreaLayout& layout, const std::vector<Record>& records, bool service)
        : unit_(layout, pointers_to(records), {}), service_(service) {
        for (const Record& record : records) { values_.emplace_back(record.payload_bytes() / 8 + 1, 0); }
        must(unit_.format());
        opened_at_format_ = unit_.store().sequence;
        erases_at_format_ = unit_.flash().counters().erases;
        for (size_t i = 0; i < records.size(); ++i) { put(i); }
    }
    void put(size_t record) {
        for (uint64_t& word : values_[record]) { ++word; }
        must(unit_.put(static_cast<uint16_t>(record), reinterpret_cast<const uint8_t*>(values_[record].data())));
        while (service_ && unit_.service()) {}
    }
    void start() { must(unit_.open()); }
    [[nodiscard]] double erases() const { return double(unit_.flash().counters().erases - erases_at_format_); }
    [[nodiscard]] double blocks_opened() const { return unit_.store().sequence - opened_at_format_; }

private:
    static void must(perdure_status status) {
        if (status != PERDURE_OK) {
            throw std::runtime_error(fmt::format("the store answers {}", static_cast<int>(status)));
        }
    }
    Unit unit_;
    bool service_;
    uint32_t opened_at_format_ = 0;
    uint64_t erases_at_format_ = 0;
    std::vector<std::vector<uint64_t>> values_;
};

struct Due {
    double at_s = 0;
    size_t record = 0; ///< the number of records stands for a start
    bool even = false;
    bool operator>(const Due& other) const { return at_s != other.at_s ? at_s > other.at_s : record > other.record; }
};

/// What the store did and what the budget expects of the same saves.
struct Compared {
    double opened = 0, opened_expected = 0; ///< blocks
    double erases = 0, erases_expected = 0;
    double variance = 0; ///< of the erases: which blocks a start erases again is chance
};

/// Lives through `blocks` blocks of `traffic`.
Compared compare(const AreaLayout& layout, const std::vector<Record>& records, const Traffic& traffic, double blocks) {
    const double life_s = ring_wear(layout, traffic).block_s * blocks;
    std::vector<uint64_t> saves_of(records.size(), 0);
    std::mt19937_64 engine(7);
    std::uniform_real_distribution<double> share(0, 1);
    std::exponential_distribution<double> gap(1);
    std::priority_queue<Due, std::vector<Due>, std::greater<>> due;
    for (size_t i = 0; i < records.size(); ++i) {
        const RecordTraffic& record = traffic.records[i];
        if (record.period_s > 0) { due.push({record.period_s, i, true}); }
        if (record.random_per_s > 0) { due.push({gap(engine) / record.random_per_s, i, false}); }
    }
    if (traffic.starts_per_s > 0) { due.push({share(engine) / traffic.starts_per_s, records.size(), true}); }
    Product product(layout, records, traffic.service_in_time);
    std::vector<uint64_t> evens(records.size() + 1, 0);
    while (due.top().at_s < life_s) {
        Due next = due.top();
        due.pop();
        if (next.record == records.size()) {
            product.start();
            for (size_t i = 0; i < records.size(); ++i) {
                const double saves = traffic.records[i].at_start;
                const double count = std::floor(saves) + (share(engine) < saves - std::floor(saves) ? 1 : 0);
                for (double k = 0; k < count; ++k, ++saves_of[i]) { product.put(i); }
            }
            next.at_s = (double(++evens[next.record]) + share(engine)) / traffic.starts_per_s;
        } else {
            product.put(next.record);
            ++saves_of[next.record];
            const RecordTraffic& record = traffic.records[next.record];
            next.at_s = next.even ? double(++evens[next.record] + 1) * record.period_s
                                  : next.at_s + gap(engine) / record.random_per_s;
        }
        due.push(next);
    }
    const RingWear wear = ring_wear(layout, as_drawn(traffic, saves_of, life_s));
    const Erases erases = erases_over(wear, layout.geometry.ring_blocks, life_s);
    const double again = wear.erased_again;
    return {product.blocks_opened(), life_s / wear.block_s, product.erases(), erases.erases,
            erases.blocks_emptied * again * (1 - again)};
}

/// Erases of the store in percent of what the budget expects, over some thousand blocks with few starts.
double store_in_percent(const AreaLayout& layout, const std::vector<Record>& records, const Traffic& traffic) {
    const Compared seen = compare(layout, records, traffic, 4000);
    return 100 * seen.erases / seen.erases_expected;
}

TEST(BudgetAgainstTheStore, OneTotalOn24BitWords) {
    const std::vector<Record> records{sample_record(1, 2, 8, 1023)};
    for (const bool service : {true, false}) {
        for (const uint32_t blocks : {2U, 3U, 5U}) {
            EXPECT_NEAR(
                store_in_percent(sample_ring(6, 1536, blocks, records), records, {1.0 / 86'400, {{45, 0}}, service}),
                100, 0.5)
                << blocks << " blocks, service " << service;
        }
    }
}

TEST(BudgetAgainstTheStore, MixOfRecordsWithStarts) {
    const std::vector<Record> records{sample_record(1, 2, 8, 1000), sample_record(2, 1, 40, 0),
                                      sample_record(3, 1, 24, 0), sample_record(4, 1, 90, 0),
                                      sample_record(5, 1, 8, 50)};
    for (const bool service : {true, false}) {
        for (const uint32_t blocks : {2U, 3U, 4U, 7U}) {
            const Traffic traffic{
                2.0 / 86'400, {{60, 0}, {86'400, 0}, {0, 3.0 / 86'400}, {0, 0}, {7000, 1e-5}}, service};
            EXPECT_NEAR(store_in_percent(sample_ring(8, 2048, blocks, records), records, traffic), 100, 0.5)
                << blocks << " blocks, service " << service;
        }
    }
}

TEST(BudgetAgainstTheStore, ManyValuesMostOfThemCopied) {
    std::vector<Record> records;
    Traffic traffic{1e-4, {}, true};
    for (uint16_t id = 1; id <= 30; ++id) {
        records.push_back(sample_record(id, 1, 20, 0));
        traffic.records.push_back({0, 1.0 / (100.0 * id)});
    }
    for (const bool service : {true, false}) {
        traffic.service_in_time = service;
        for (const uint32_t blocks : {2U, 3U, 4U, 6U}) {
            EXPECT_NEAR(store_in_percent(sample_ring(8, 2048, blocks, records), records, traffic), 100, 0.5)
                << blocks << " blocks, service " << service;
        }
    }
}

struct OftenStarted {
    const char* name;
    std::vector<Record> records;
    std::vector<RecordTraffic> saves;
};

std::vector<OftenStarted> often_started() {
    constexpr double a_day = 1.0 / 86'400;
    return {{"a total each minute", {sample_record(1, 1, 8, 20)}, {{60, 0}}},
            {"a total each minute and values",
             {sample_record(1, 2, 8, 120), sample_record(2, 1, 25), sample_record(3, 1, 12)},
             {{60, 0}, {0, 12 * a_day}, {0, 2 * a_day}}},
            {"values by chance",
             {sample_record(1, 1, 8), sample_record(2, 1, 20), sample_record(3, 1, 60)},
             {{0, 200 * a_day}, {0, 50 * a_day}, {0, 10 * a_day}}},
            {"saved at starts",
             {sample_record(1, 1, 8, 20), sample_record(2, 1, 30), sample_record(3, 1, 16)},
             {{0, 48 * a_day, 1}, {0, 4 * a_day}, {0, 0, 0.3}}}};
}

// A few hundred blocks each: what comes by chance is held more loosely in each ring (how often a start erases a block
// again: three standard deviations), and to 0.5 % in all rings of one kind together.
TEST(BudgetAgainstTheStore, StartsFromOneToFiveHundredADay) {
    for (const OftenStarted& kind : often_started()) {
        Compared all;
        for (const double starts : {1, 20, 100, 500}) {
            for (const uint32_t unit : {2U, 6U, 8U, 16U, 32U}) {
                const uint32_t blocks = 2 + (unit + static_cast<uint32_t>(starts)) / 2 % 4;
                const bool service = unit != 6;
                const AreaLayout layout = sample_ring(unit, 256 * std::max(unit, 4U), blocks, kind.records);
                const Compared seen =
                    compare(layout, kind.records, {starts / 86'400, kind.saves, service}, starts > 50 ? 300 : 200);
                const std::string what =
                    fmt::format("{}: {} starts a day, units of {}, {} blocks", kind.name, starts, unit, blocks);
                EXPECT_NEAR(seen.opened, seen.opened_expected, 1.5 + 0.01 * seen.opened_expected) << what;
                EXPECT_NEAR(seen.erases, seen.erases_expected,
                            1.5 + 0.005 * seen.erases_expected + 3 * std::sqrt(seen.variance))
                    << what;
                all.opened += seen.opened;
                all.opened_expected += seen.opened_expected;
                all.erases += seen.erases;
                all.erases_expected += seen.erases_expected;
                all.variance += seen.variance;
            }
        }
        EXPECT_NEAR(all.opened / all.opened_expected, 1, 0.005) << kind.name;
        EXPECT_NEAR(all.erases / all.erases_expected, 1, 0.005 + 2 * std::sqrt(all.variance) / all.erases_expected)
            << kind.name;
    }
}

} // namespace
} // namespace perdure
