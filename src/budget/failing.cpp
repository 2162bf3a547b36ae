// What share of the fleet fails, as far as the user's data or sample can say; and entries that are wrong and pass.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sources.hpp"
#include "physics/check_code.hpp"

namespace perdure {

namespace {

std::optional<Finding> worn_out_share(const Project& project, const AreaBudget& area, bool judged) {
    if (!project.conditions.wear_out || !area.laid_out) { return std::nullopt; }
    const LifeModel& model = project.conditions.wear_out->model;
    const double erases = erases_of(project, area);
    const double block_share = failed_by(model, erases);
    const uint32_t blocks = area.layout.geometry.ring_blocks;
    const uint32_t least = std::min(area.fewest_blocks.value_or(blocks), blocks);
    const double share = chance_of_too_few(least, blocks - least, block_share);
    Finding out = named("failed share", area.name, "of units");
    const std::optional<double> allowed = judged ? project.conditions.require.failed_share_max : std::nullopt;
    judge(out, share, allowed);
    constexpr uint32_t spares_most = 256;
    out.note = fmt::format("{} of {} ring blocks are spare", blocks - least, blocks);
    if (allowed) {
        const auto spares = spares_needed(least, block_share, *allowed, spares_most);
        out.note += spares ? fmt::format("; {} spare would do", *spares) : "; no number of spare blocks would do";
    }
    out.from = {by_formula("erases", erases, "erases", "of each block over life"),
                by_formula("blocks that fail", block_share, "share",
                           model.law == LifeLaw::weibull ? "1 - exp(-(erases / scale)^shape)"
                                                         : "normal share below ln(erases / scale) / shape"),
                from_file(project, project.conditions.wear_out->place, "scale", model.scale, "erases"),
                from_file(project, project.conditions.wear_out->place, "shape", model.shape, ""),
                by_formula("units that fail", share, "share", "more blocks fail than are spare (binomial)")};
    if (allowed) {
        out.from.push_back(
            from_file(project, project.conditions.require.failed_share_place, "failed_share", *allowed, "of units"));
    }
    return out;
}

Finding sample_bound(const Project& project, const Qualification& sample, bool judged) {
    Finding out = named("sample bound", "", "of units");
    const double bound = failing_share_upper(sample.units, sample.failures, sample.confidence);
    const std::optional<double> allowed = judged ? project.conditions.require.failed_share_max : std::nullopt;
    judge(out, bound, allowed);
    out.note = fmt::format("{} of {} failed: no better bound at {:g} % confidence", sample.failures, sample.units,
                           sample.confidence * 100);
    if (allowed && out.status == FindingStatus::fails) {
        out.note += fmt::format("; it takes {} units without failure to show {:g}",
                                units_to_show(*allowed, sample.confidence), *allowed);
    }
    out.from = {from_file(project, sample.place, "sample", double(sample.units), "units"),
                from_file(project, sample.place, "failures", double(sample.failures), "units"),
                by_formula("upper limit", bound, "share", "exact binomial (Clopper and Pearson)")};
    if (allowed) {
        out.from.push_back(
            from_file(project, project.conditions.require.failed_share_place, "failed_share", *allowed, "of units"));
    }
    return out;
}

std::optional<Finding> test_rate(const Project& project, const Qualification& sample) {
    if (!sample.hours || !sample.at_c || !sample.activation_ev || project.conditions.profile.empty()) {
        return std::nullopt;
    }
    std::vector<Stay> profile;
    for (const ProfileStep& step : project.conditions.profile) { profile.push_back({step.temperature_c, step.share}); }
    const double faster = 1 / equivalent_years(profile, *sample.at_c, *sample.activation_ev);
    const double device_hours = double(sample.units) * *sample.hours * faster;
    const double an_hour = failures_an_hour_upper(sample.failures, device_hours, sample.confidence);
    Finding out = named("failure rate", "", "FIT");
    judge(out, an_hour * 1e9, std::nullopt);
    out.note = fmt::format("at most, at {:g} % confidence: {:.3g} of the fleet over life", sample.confidence * 100,
                           -std::expm1(-an_hour * project.product.life_s() / 3600));
    out.from = {from_file(project, sample.place, "test", *sample.hours, "h"),
                from_file(project, sample.activation_place, "activation energy", *sample.activation_ev, "eV"),
                by_formula("acceleration", faster, "times",
                           fmt::format("from the profile to {:g} C (Arrhenius)", *sample.at_c)),
                by_formula("upper limit", an_hour * 1e9, "FIT", "chi-square(confidence; 2 failures + 2) / (2 hours)")};
    return out;
}

/// Expected wrong entries of one area with a check code of so many bits.
struct Wrong {
    double torn = 0; ///< passed after a cut
    double rot = 0;  ///< passed after bits had flipped
    double lost = 0; ///< detected: an older value is read instead
};

Wrong wrong_entries(const Project& project, const Demand& demand, const AreaBudget& area, uint32_t check_bits) {
    const double fleet = double(project.product.fleet_units);
    const double flip = project.conditions.errors.bit_flip;
    Wrong out;
    out.torn = demand.starts * fleet * chance_match(check_bits);
    if (flip <= 0) { return out; }
    const FlashGeometry& geometry = area.layout.geometry;
    const double turn_s = area.wear.block_s * geometry.ring_blocks;
    const double stays = std::isfinite(turn_s) ? std::max(1.0, demand.life_s / turn_s) : 1;
    for (const RecordBudget& record : area.records) {
        const uint32_t bytes = record.layout.full_bytes - area.layout.check_bytes + check_bits / 8;
        if (geometry.ecc) {
            // One flipped bit a unit is corrected, two are reported; more may come out as anything.
            const uint32_t unit_bits = geometry.unit_bytes * 8;
            const uint32_t word_bits = unit_bits + secded_check_bits(unit_bits);
            const double units = std::ceil(double(bytes) / geometry.unit_bytes);
            out.rot += fleet * stays * units * more_flips_chance(word_bits, 2, flip) * chance_match(check_bits);
            out.lost += fleet * stays * units * more_flips_chance(word_bits, 1, flip);
        } else {
            out.rot += fleet * stays * undetected_chance(store_check_code(check_bits), bytes * 8, flip);
            out.lost += fleet * stays * more_flips_chance(bytes * 8, 0, flip);
        }
    }
    return out;
}

} // namespace

std::vector<Finding> failing_findings(const Project& project, const std::vector<AreaBudget>& areas) {
    std::vector<Finding> out;
    for (const AreaBudget& area : areas) {
        if (auto finding = worn_out_share(project, area, true)) { out.push_back(std::move(*finding)); }
    }
    const bool has_data = !out.empty();
    const std::optional<Qualification>& sample = project.conditions.qualification;
    if (sample) {
        out.push_back(sample_bound(project, *sample, !has_data));
        if (auto finding = test_rate(project, *sample)) { out.push_back(std::move(*finding)); }
    }
    if (!has_data && !sample && project.conditions.require.failed_share_max) {
        Finding missing = named("failed share", "", "of units");
        missing.status = FindingStatus::unknown;
        missing.note = "needs a sample ([qualification]) or wear-out data ([wear_out]): a guaranteed number of erases "
                       "says nothing about a share";
        out.push_back(missing);
    }
    return out;
}

std::vector<Finding> wrong_entry_findings(const Project& project, const Demand& demand,
                                          const std::vector<AreaBudget>& areas) {
    const std::optional<double> allowed = project.conditions.require.wrong_entries_max;
    if (!allowed && project.conditions.errors.bit_flip <= 0) { return {}; }
    const auto total = [&](std::optional<uint32_t> bits) {
        Wrong sum;
        for (size_t i = 0; i < areas.size(); ++i) {
            if (!areas[i].laid_out) { continue; }
            const Wrong one = wrong_entries(project, demand, areas[i], bits.value_or(project.areas[i].check_bits));
            sum.torn += one.torn;
            sum.rot += one.rot;
            sum.lost += one.lost;
        }
        return sum;
    };
    const Wrong now = total(std::nullopt);
    Finding out = named("wrong entries", "", "in the fleet");
    judge(out, now.torn + now.rot, allowed);
    out.note = "expected over life at most, if every start followed a torn entry";
    if (now.lost > 0) { out.note += fmt::format("; {:.3g} more are found bad, and an older value read", now.lost); }
    if (allowed) {
        std::optional<uint32_t> narrowest;
        for (const uint32_t bits : {8U, 16U, 24U, 32U}) {
            const Wrong with = total(bits);
            if (!narrowest && with.torn + with.rot <= *allowed) { narrowest = bits; }
        }
        out.note += narrowest ? fmt::format("; narrowest check code that is enough: {} bits", *narrowest)
                              : "; no check code is wide enough";
    }
    for (const Area& area : project.areas) {
        out.from.push_back(from_file(project, area.check_bits_place, "check_bits", area.check_bits, "bits"));
    }
    out.from.push_back(by_formula("torn", now.torn, "entries", "starts x units in the field x 2^-bits"));
    if (project.conditions.errors.bit_flip > 0) {
        out.from.push_back(from_file(project, project.conditions.errors.bit_flip_place, "bit_flip",
                                     project.conditions.errors.bit_flip, "a bit"));
        out.from.push_back(by_formula("rot", now.rot, "entries",
                                      "turns x records x units in the field x chance that a flipped entry passes"));
    }
    if (allowed) {
        out.from.push_back(
            from_file(project, project.conditions.require.wrong_entries_place, "wrong_entries", *allowed, "entries"));
    }
    return {out};
}

} // namespace perdure
