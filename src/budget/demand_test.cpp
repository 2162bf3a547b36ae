#include "budget/demand.hpp"

#include <cmath>
#include <random>

#include <gtest/gtest.h>

namespace perdure {
namespace {

Project with(SavePolicy policy, double factor = 1) {
    Project out;
    out.product.life_years = 10;
    out.product.year_days = 365;
    out.product.starts_per_day = 2;
    Record record;
    record.saves = {policy};
    record.heavy_user_factor = factor;
    out.records = {record};
    return out;
}

TEST(Demand, PeriodicSavesFillTheLife) {
    const Demand demand = demand_of(with({SaveWhen::periodic, 60, 0, {}, 0.5, {}}, 3));
    EXPECT_DOUBLE_EQ(demand.records[0].nominal_saves, 3650.0 * 1440 / 2);
    EXPECT_DOUBLE_EQ(demand.records[0].sizing_saves, 3650.0 * 1440 / 2 * 3);
    EXPECT_DOUBLE_EQ(demand.starts, 7300);
}

TEST(Demand, EventsAreSizedForTheQuantileOfTheWholeLife) {
    const Demand demand = demand_of(with({SaveWhen::events, 0, 1.0 / 3650, 0.99, 1, {}}, 5));
    EXPECT_DOUBLE_EQ(demand.records[0].nominal_saves, 1);
    EXPECT_DOUBLE_EQ(demand.records[0].sizing_saves, 11); // mean 5, 99 %
    EXPECT_DOUBLE_EQ(demand_of(with({SaveWhen::events, 0, 2, {}, 1, {}})).records[0].sizing_saves, 7300);
}

TEST(Demand, StartsSaveToo) {
    EXPECT_DOUBLE_EQ(demand_of(with({SaveWhen::at_start, 0, 0, {}, 1, {}})).records[0].sizing_saves, 7300);
}

TEST(Demand, SavesByMovementFollowItsRate) {
    SavePolicy save{SaveWhen::moved, 0, 0, {}, 1, {}};
    save.moved_by = 50;
    Project project = with(save);
    project.records[0].fields.resize(1);
    project.records[0].fields[0].rate_per_day = 400;
    EXPECT_DOUBLE_EQ(demand_of(project).records[0].sizing_saves, 8 * 3650);
}

// Changes at random, played one by one.
TEST(Demand, SettledSavesAreThoseOfThePauses) {
    std::mt19937_64 draw(7);
    const double settle_s = 10, latest_s = 25;
    for (const double per_s : {0.01, 0.1, 0.3}) {
        std::exponential_distribution<double> pause_s(per_s);
        double now_s = 0, first_s = 0, last_s = 0;
        uint64_t settled = 0, with_latest = 0;
        double due_s = 0; // of the save that `latest` bounds; 0: nothing waits
        for (int change = 0; change < 200'000; ++change) {
            const double next_s = now_s + pause_s(draw);
            if (change > 0 && next_s - last_s > settle_s) { ++settled; }
            if (due_s > 0 && next_s > std::min(due_s, last_s + settle_s)) {
                ++with_latest;
                due_s = 0;
            }
            now_s = last_s = next_s;
            if (due_s <= 0) {
                first_s = now_s;
                due_s = first_s + latest_s;
            }
        }
        EXPECT_NEAR(double(settled) / now_s / settled_per_s(per_s, settle_s, {}), 1, 0.02) << per_s;
        EXPECT_LE(double(with_latest) / now_s, settled_per_s(per_s, settle_s, latest_s) * 1.01) << per_s;
    }
}

TEST(Demand, QuantileIsTheLeastCountThatReachesTheConfidence) {
    for (const double mean : {0.3, 4.0, 77.7, 12'345.0}) {
        for (const double confidence : {0.05, 0.5, 0.95, 0.999}) {
            const double count = poisson_count(mean, confidence);
            // Against the sum of the terms, taken in logarithms.
            double sum = 0, below = 0;
            for (double k = 0; k <= count; ++k) {
                below = sum;
                sum += std::exp(k * std::log(mean) - mean - std::lgamma(k + 1));
            }
            EXPECT_GE(sum, confidence - 1e-9) << mean << ' ' << confidence;
            EXPECT_LT(below, confidence + 1e-9) << mean << ' ' << confidence;
        }
    }
    EXPECT_EQ(poisson_count(0, 0.9), 0);
}

} // namespace
} // namespace perdure
