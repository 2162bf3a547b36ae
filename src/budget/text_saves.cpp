#include <fmt/format.h>

#include "budget/text_sections.hpp"
#include "project/units.hpp"

namespace perdure {

namespace {

std::string show_amount(const LostAmount& amount) {
    if (amount.most && amount.what == "samples") { return figure(*amount.most) + " samples"; }
    if (amount.most) { return fmt::format("{} of {}", figure(*amount.most), amount.what); }
    if (amount.mean) { return fmt::format("{} of {} at its mean rate", figure(*amount.mean), amount.what); }
    return "any amount of " + amount.what;
}

/// The record's saves taken together.
std::string show_together(const RecordLoss& loss) {
    std::string out = !std::isfinite(loss.time_s) ? "no bound in time"
                      : loss.time_s <= 0          ? "nothing that a put has returned for"
                                                  : "at most " + show_seconds(loss.time_s);
    for (const LostAmount& amount : loss.amounts) {
        if (loss.time_s > 0 && (amount.most || amount.mean)) { out += ", " + show_amount(amount); }
    }
    if (loss.by_hold_up && loss.time_otherwise_s > 0) {
        out += std::isfinite(loss.time_otherwise_s)
                   ? fmt::format("; {} where the save at power failure does not come off",
                                 show_seconds(loss.time_otherwise_s))
                   : "; without the save at power failure there is no bound";
    }
    return out;
}

} // namespace

void add_saves(std::string& out, const Budget& budget) {
    constexpr size_t name_columns = 36;
    out += fmt::format("\n{:<36}{:>12}{:>12}{:>8}  {}\n", "saves over life", "saves", "units", "wear", "leaves");
    size_t next = 0;
    for (const RecordLoss& loss : budget.losses) {
        out += loss.name + '\n';
        for (; next < budget.saves.size() && budget.saves[next].record == loss.name; ++next) {
            const SavePart& save = budget.saves[next];
            std::string name = "  " + save.when;
            if (name.size() >= name_columns) {
                out += name + '\n';
                name.clear();
            }
            out += fmt::format("{:<36}{:>12}{:>12}{:>7.2f}%  {}\n", name, figure(save.saves),
                               figure(std::round(save.units)), save.wear_share * 100, save.loses);
        }
        add_wrapped(out, "a sudden cut takes " + show_together(loss), 2);
    }
    out += "wear: of all units, without copies and starts; leaves: open to a cut, by itself\n";
}

void add_supply(std::string& out, const HoldUp& hold_up) {
    out += "\nwhen the supply fails\n";
    add_wrapped(out,
                fmt::format("{} trips over life, {} of them dips beside the ordinary starts; a trip takes a save and a "
                            "start, {} units: {:.2f} % of all units programmed",
                            figure(std::round(hold_up.trips)), figure(std::round(hold_up.dips)),
                            figure(hold_up.trip_units), hold_up.trips_share * 100),
                2);
    if (hold_up.storm_units > 0) {
        add_wrapped(out, fmt::format("a storm takes {} units", figure(std::round(hold_up.storm_units))), 2);
    }
    add_wrapped(out,
                "After a trip the product starts again, even if the supply came back during the save: what the save "
                "interrupted did not happen. The next save has its room once a put or service has made it.",
                2);
    add_wrapped(
        out,
        fmt::format("The capacitor holds {} J at {} V.{}", figure(hold_up.energy_j), figure(hold_up.charged_v),
                    hold_up.energy_j >= noted_energy_j || hold_up.charged_v >= noted_voltage_v
                        ? " CAUTION: that can burn, or hurt. Provide a way to discharge it, discharge it before "
                          "touching, and follow local codes and licensed practice."
                        : ""),
        2);
}

void add_log(std::string& out, const LogBudget& log) {
    out += '\n';
    add_wrapped(out,
                fmt::format("log {}: {} samples of {} bytes are {} raw bytes", log.record, figure(log.depth_samples),
                            log.sample_bytes, figure(log.raw_bytes)),
                0);
    const bool two = log.one_by_one.has_value();
    const LogCost other = log.one_by_one.value_or(LogCost{});
    const auto line = [&](const char* name, const std::string& one, const std::string& single) {
        out += fmt::format("  {:<38}{:>18}{:>18}\n", name, one, two ? single : "");
    };
    const auto entry = [](const LogCost& cost) {
        return cost.short_units > 0 ? fmt::format("{} / {}", cost.full_bytes, cost.short_bytes)
                                    : fmt::format("{}", cost.full_bytes);
    };
    const auto seconds = [](double s) { return s > 0 ? show_seconds(s) : "sample in flight"; };
    const auto flash = [](const LogCost& cost) {
        return cost.flash_bytes > 0 ? figure(cost.flash_bytes) : std::string("more than the part");
    };
    const auto times = [&](const LogCost& cost) {
        return cost.flash_bytes > 0 ? fmt::format("{:.3f}", cost.flash_bytes / log.raw_bytes) : std::string("-");
    };
    const LogCost& cost = log.cost;
    line("samples an entry", fmt::format("{}", cost.batch), fmt::format("{}", other.batch));
    line("bytes of an entry, full / short", entry(cost), entry(other));
    line("bytes of the depth's entries", figure(cost.used_bytes), figure(other.used_bytes));
    line("flash", flash(cost), flash(other));
    line("flash / raw bytes", times(cost), times(other));
    line("samples kept at least", figure(cost.kept), figure(other.kept));
    line("erases a block over life", figure(std::ceil(cost.erases_per_block)),
         figure(std::ceil(other.erases_per_block)));
    line("a sudden cut takes", seconds(cost.loss_s), seconds(other.loss_s));
}

nlohmann::json json_of(const SavePart& save) {
    return {{"record", save.record},
            {"when", save.when},
            {"saves", number(save.saves)},
            {"units", number(save.units)},
            {"wear_share", number(save.wear_share)},
            {"loses", save.loses}};
}

nlohmann::json json_of(const RecordLoss& loss) {
    nlohmann::json out{{"record", loss.name},
                       {"time_s", number(loss.time_s)},
                       {"why", loss.why},
                       {"by_hold_up", loss.by_hold_up},
                       {"time_otherwise_s", number(loss.time_otherwise_s)}};
    out["amounts"] = nlohmann::json::array();
    for (const LostAmount& amount : loss.amounts) {
        out["amounts"].push_back({{"what", amount.what}, {"most", maybe(amount.most)}, {"mean", maybe(amount.mean)}});
    }
    return out;
}

nlohmann::json json_of(const HoldUp& hold_up) {
    return {{"units", hold_up.save.units},
            {"programming_ms", hold_up.save.programming_ms},
            {"under_way_ms", hold_up.save.under_way_ms},
            {"erase_aborted", hold_up.save.erase_aborted},
            {"detection_ms", hold_up.detection_ms},
            {"end_v", hold_up.end_v},
            {"left_share", hold_up.left_share},
            {"need_ms", hold_up.need_ms},
            {"have_ms", maybe(hold_up.have_ms)},
            {"need_uf", number(hold_up.need_uf)},
            {"energy_j", hold_up.energy_j},
            {"charged_v", hold_up.charged_v},
            {"holds", hold_up.holds},
            {"trips", hold_up.trips},
            {"dips", hold_up.dips},
            {"trip_units", hold_up.trip_units},
            {"storm_units", hold_up.storm_units},
            {"trips_share", hold_up.trips_share},
            {"armed_again_ms", hold_up.rearm_known ? nlohmann::json(hold_up.rearmed_ms) : nlohmann::json(nullptr)}};
}

namespace {

nlohmann::json json_of(const LogCost& cost) {
    return {{"batch", cost.batch},
            {"full_bytes", cost.full_bytes},
            {"full_units", cost.full_units},
            {"short_bytes", cost.short_bytes},
            {"short_units", cost.short_units},
            {"used_bytes", cost.used_bytes},
            {"flash_bytes", cost.flash_bytes},
            {"kept_samples", cost.kept},
            {"erases_per_block", cost.erases_per_block},
            {"loss_s", number(cost.loss_s)}};
}

} // namespace

nlohmann::json json_of(const LogBudget& log) {
    nlohmann::json out = json_of(log.cost);
    out["record"] = log.record;
    out["sample_bytes"] = log.sample_bytes;
    out["depth_samples"] = log.depth_samples;
    out["raw_bytes"] = log.raw_bytes;
    out["one_by_one"] = log.one_by_one ? json_of(*log.one_by_one) : nlohmann::json(nullptr);
    return out;
}

} // namespace perdure
