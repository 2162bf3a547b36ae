#include "budget/conditions.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "budget/text.hpp"
#include "physics/check_code.hpp"

namespace perdure {
namespace {

/// One total a minute for ten years, on an invented part with every figure.
Project pump() {
    Project out;
    out.path = "pump.toml";
    out.product.name = "pump";
    out.product.life_years = 10;
    Device& part = out.part;
    part.runs = {BlockRun{64, 2048, 0}};
    part.flash_bytes = 131'072;
    part.program_bytes = 8;
    part.program_rule = "ecc-zero";
    part.erased_value = "0xFF";
    part.read_while_write = "stall";
    part.endurance_cycles = 10'000;
    part.endurance_temp_c = "-40..85 or -40..105 by suffix";
    part.erase_ms_max = {40};
    part.program_us_max = 125;
    part.retention_years = 10;
    part.retention_temp_c = 85;
    part.program_ma = 5;
    part.vdd_min_v = 2.0;
    Record record;
    record.name = "litres";
    record.id = 1;
    record.kind = RecordKind::total;
    Field field;
    field.movement_max = 100;
    record.fields = {field};
    record.saves = {SavePolicy{SaveWhen::periodic, 60, 0, {}, 1, {}}};
    out.records = {record};
    out.areas = {Area{}};
    out.areas[0].size_bytes = 8 * 2048;
    return out;
}

const Finding& finding(const Budget& budget, const std::string& name) {
    for (const Finding& entry : budget.findings) {
        if (entry.name == name) { return entry; }
    }
    throw std::runtime_error("no finding " + name);
}

bool has_finding(const Budget& budget, const std::string& name) {
    for (const Finding& entry : budget.findings) {
        if (entry.name == name) { return true; }
    }
    return false;
}

Finding found(const Project& project, const std::string& name) {
    return finding(make_budget(project).value(), name);
}

TEST(Endurance, CataloguedRangeTakesItsLowestUpperEnd) {
    Project project = pump();
    project.conditions.profile = {{60, 1, {}}};
    EXPECT_EQ(found(project, "endurance at").have, 85);
    EXPECT_EQ(found(project, "endurance at").status, FindingStatus::holds);
    project.conditions.profile = {{25, 0.9, {}}, {95, 0.1, {}}};
    EXPECT_EQ(found(project, "endurance at").status, FindingStatus::fails);
    project.part.endurance_temp_c = "over operating range";
    EXPECT_EQ(found(project, "endurance at").status, FindingStatus::informs);
    EXPECT_TRUE(found(project, "endurance at").assumed());
}

TEST(Endurance, PairsByTemperatureAndPlaceReplaceTheCatalogue) {
    Project project = pump();
    project.conditions.profile = {{60, 1, {}}};
    project.conditions.endurance = {{10'000, 105, {}, {}, {}}, {200, 125, {}, {}, {}}};
    EXPECT_EQ(found(project, "wear").have, 5'000);
    project.conditions.profile = {{110, 1, {}}};
    EXPECT_EQ(found(project, "wear").have, 100);
    EXPECT_EQ(found(project, "wear").status, FindingStatus::fails);
    project.conditions.profile = {{130, 1, {}}};
    EXPECT_EQ(found(project, "wear").have, 0);
    EXPECT_EQ(found(project, "endurance at").status, FindingStatus::fails);
    // A stretch counts only for an area wholly inside; this one lies at the top.
    project.conditions.profile.clear();
    project.conditions.endurance = {{10'000, {}, {}, {}, {}}, {100'000, {}, 0, 32'768, {}}};
    EXPECT_EQ(found(project, "wear").have, 5'000);
    project.conditions.endurance[1].from_bytes = 131'072 - 8 * 2048;
    project.conditions.endurance[1].size_bytes = 8 * 2048;
    EXPECT_EQ(found(project, "wear").have, 50'000);
    project.conditions.endurance[1].size_bytes = 8 * 2048 - 1;
    EXPECT_EQ(found(project, "wear").have, 5'000);
}

TEST(Endurance, ErasesSpentBeforeShipmentCount) {
    Project project = pump();
    const double before = found(project, "wear").need;
    project.conditions.erases_spent = 25;
    EXPECT_DOUBLE_EQ(found(project, "wear").need, before + 25);
    EXPECT_DOUBLE_EQ(make_budget(project)->areas[0].erases_allowed, 5'000 - 25);
}

TEST(Fleet, OneSpreadIsExactAndTwoAreDrawnAroundIt) {
    Project project = pump();
    Uncertainty terms;
    terms.inputs = {{UncertainWhat::saves, "", {SpreadLaw::lognormal, 1, 1, 2}, {}}};
    project.conditions.uncertainty = terms;
    const double exact = found(project, "wear of the fleet").need;
    // Twice the saves: about twice the wear, less what does not grow with them.
    const double nominal = found(project, "wear").need;
    EXPECT_GT(exact, 1.9 * nominal);
    EXPECT_LT(exact, 2.0 * nominal);
    // A second input that does not spread changes nothing but the way.
    project.conditions.uncertainty->inputs.push_back({UncertainWhat::starts, "", {SpreadLaw::uniform, 1, 1, 1}, {}});
    const Finding drawn = found(project, "wear of the fleet");
    EXPECT_NEAR(drawn.need, exact, 0.05 * exact);
    EXPECT_NE(drawn.note.find("seed 1"), std::string::npos);
    // Flash that stands half as much: judged as twice the need.
    project.conditions.uncertainty->inputs = {{UncertainWhat::endurance, "", {SpreadLaw::uniform, 0.5, 1, 0.5}, {}}};
    EXPECT_NEAR(found(project, "wear of the fleet").need, 2 * nominal, 4);
}

TEST(RetentionFinding, IsTheTurnOfTheRingAgainstTheGuarantee) {
    Project project = pump();
    EXPECT_EQ(found(project, "retention").status, FindingStatus::informs); // nothing asked
    project.conditions.profile = {{60, 1, {}}};
    const Budget budget = make_budget(project).value();
    const Finding& held = finding(budget, "retention");
    EXPECT_EQ(held.status, FindingStatus::holds);
    EXPECT_NEAR(held.need, budget.areas[0].nominal_wear.block_s * 8 / (365.25 * 86400), 1e-12);
    EXPECT_EQ(held.have, 10);
    // The least used unit never turns the ring: its data lie there for life, and for the storage before.
    project.conditions.retention = RetentionTerms{};
    project.conditions.retention->light_user = 0;
    project.conditions.retention->storage_years = 1;
    const Finding lies = found(project, "retention");
    EXPECT_DOUBLE_EQ(lies.need, 11);
    EXPECT_EQ(lies.status, FindingStatus::fails);
    EXPECT_NE(lies.note.find("put every record again each 9 y and it holds"), std::string::npos) << lies.note;
    // An energy, once stated, carries the cooler stay to the guarantee's temperature.
    project.conditions.retention->activation_ev = 0.6;
    const Finding carried = found(project, "retention");
    EXPECT_NEAR(carried.need, 10 * acceleration(85, 60, 0.6) + acceleration(85, 25, 0.6), 1e-9);
    EXPECT_EQ(carried.status, FindingStatus::holds);
}

TEST(RetentionFinding, HotterThanAnyGuaranteeIsUnknownWithoutAnEnergy) {
    Project project = pump();
    project.conditions.profile = {{100, 1, {}}};
    EXPECT_EQ(found(project, "retention").status, FindingStatus::unknown);
    project.part.retention_years.reset();
    EXPECT_EQ(found(project, "retention").status, FindingStatus::unknown);
    project.conditions.profile.clear();
    EXPECT_FALSE(has_finding(make_budget(project).value(), "retention"));
}

TEST(Failing, ASampleBoundsAndItsOwnDataDecide) {
    Project project = pump();
    project.conditions.require.failed_share_max = 0.001;
    EXPECT_EQ(found(project, "failed share").status, FindingStatus::unknown);
    project.conditions.qualification = Qualification{231, 0, 0.9, {}, {}, {}, {}, {}};
    const Finding bound = found(project, "sample bound");
    EXPECT_EQ(bound.status, FindingStatus::fails);
    EXPECT_NE(bound.note.find("2302 units without failure"), std::string::npos) << bound.note;
    project.conditions.wear_out = WearOut{{LifeLaw::weibull, 3, 80'000}, {}};
    EXPECT_EQ(found(project, "sample bound").status, FindingStatus::informs);
    const Budget budget = make_budget(project).value();
    const double share = failed_by({LifeLaw::weibull, 3, 80'000}, erases_of(project, budget.areas[0]));
    const uint32_t least = *budget.areas[0].fewest_blocks;
    EXPECT_DOUBLE_EQ(finding(budget, "failed share").need, chance_of_too_few(least, 8 - least, share));
}

TEST(WrongEntries, TheNarrowestCodeThatIsEnoughIsProposed) {
    Project project = pump();
    project.product.fleet_units = 1000;
    project.conditions.require.wrong_entries_max = 1;
    const Finding wide = found(project, "wrong entries");
    const double starts = 10 * 365.25;
    EXPECT_DOUBLE_EQ(wide.need, starts * 1000 * std::exp2(-16));
    EXPECT_EQ(wide.status, FindingStatus::fails);
    EXPECT_NE(wide.note.find("enough: 24 bits"), std::string::npos) << wide.note;
    project.areas[0].check_bits = 24;
    EXPECT_EQ(found(project, "wrong entries").status, FindingStatus::holds);
}

TEST(WrongEntries, FlippedBitsPassByTheCodesWeights) {
    Project project = pump();
    project.part.program_rule = "once-noecc";
    project.conditions.errors.bit_flip = 1e-4;
    const Budget budget = make_budget(project).value();
    const AreaBudget& area = budget.areas[0];
    const double turns = project.product.life_s() / (area.wear.block_s * 8);
    const double passes = undetected_chance(store_check_code(16), area.layout.records[0].full_bytes * 8, 1e-4);
    const double torn = 10 * 365.25 * std::exp2(-16);
    EXPECT_NEAR(finding(budget, "wrong entries").need, torn + turns * passes, 1e-12);
    EXPECT_EQ(finding(budget, "wrong entries").status, FindingStatus::informs);
}

TEST(Deadlines, HoldAgainstTheAgedPartAndWhereTheCodeRuns) {
    Project project = pump();
    project.conditions.aged = {{1'000, 20, {}, {}}, {10'000, 200, {}, {}}};
    Deadline watchdog;
    watchdog.name = "watchdog";
    watchdog.limit_ms = 100;
    project.conditions.deadlines = {watchdog};
    EXPECT_EQ(found(project, "deadline watchdog").status, FindingStatus::fails);
    EXPECT_GT(found(project, "deadline watchdog").need, 200);
    project.conditions.deadlines[0].service = false; // only puts, which service spares the erase
    EXPECT_LT(found(project, "deadline watchdog").need, 1);
    Deadline pulse = watchdog;
    pulse.counts = DeadlineCounts::operation;
    project.conditions.deadlines = {pulse};
    EXPECT_DOUBLE_EQ(found(project, "deadline watchdog").need, 200);
    project.conditions.deadlines[0].code = CodeIn::other_bank;
    EXPECT_EQ(found(project, "deadline watchdog").status, FindingStatus::fails); // this part stalls whole
    project.part.read_while_write = "dual-bank";
    EXPECT_EQ(found(project, "deadline watchdog").need, 0);
    EXPECT_TRUE(found(project, "deadline watchdog").assumed()); // that the area lies in the other one
    EXPECT_NE(make_budget(project)->caution, "");
    EXPECT_EQ(make_budget(pump())->caution, "");
}

TEST(Deadlines, TimesOfTheStepThatReachesSoFar) {
    Project project = pump();
    project.conditions.aged = {{1'000, 20, {}, {}}, {5'000, 60, 150, {}}};
    EXPECT_EQ(times_after(project, 0)->erase_ms, 20);
    EXPECT_EQ(times_after(project, 1'000)->erase_ms, 20);
    EXPECT_EQ(times_after(project, 1'001)->erase_ms, 60);
    EXPECT_EQ(times_after(project, 9'000)->erase_ms, 60);
    EXPECT_EQ(times_after(project, 0)->program_us, 150);
    project.conditions.aged[1].erase_ms_max = 30; // beyond the last step the data sheet's own maximum stands
    EXPECT_EQ(times_after(project, 9'000)->erase_ms, 40);
}

TEST(Deadlines, ServiceHasToRunOftenEnough) {
    Project project = pump();
    project.conditions.require.service_every_s = 60;
    const Finding often = found(project, "service interval");
    EXPECT_EQ(often.status, FindingStatus::holds);
    project.conditions.require.service_every_s = often.have * 1.01;
    EXPECT_EQ(found(project, "service interval").status, FindingStatus::fails);
}

TEST(Energy, IsVoltageTimesCurrentTimesTime) {
    Project project = pump();
    project.conditions.energy = EnergyTerms{};
    EnergyTerms& terms = *project.conditions.energy;
    terms.voltage_v = 3;
    terms.run_ma = 5;
    terms.battery_mah = 1'000;
    terms.supply_min_v = 1.8;
    terms.peak_max_ma = 8;
    project.conditions.require.battery_share_max = 0.5;
    const Budget budget = make_budget(project).value();
    // The largest put: 2 units of 125 us at 3 V and 10 mA.
    EXPECT_DOUBLE_EQ(finding(budget, "energy a save").need, 3 * 10 * 0.25 / 1e3);
    const double day_j = finding(budget, "energy a day").need;
    EXPECT_NEAR(finding(budget, "battery share").need, day_j * 3652.5 / (1'000 * 3.6 * 3), 1e-12);
    EXPECT_EQ(finding(budget, "lowest supply").status, FindingStatus::fails);
    EXPECT_EQ(finding(budget, "peak current").status, FindingStatus::fails);
    project.part.program_ma.reset();
    EXPECT_EQ(found(project, "energy a day").status, FindingStatus::unknown);
}

} // namespace
} // namespace perdure
