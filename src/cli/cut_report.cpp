#include "cli/cut_report.hpp"

#include <algorithm>
#include <cmath>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/demand.hpp"
#include "cli/cut_case.hpp"
#include "cli/cut_json.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "dossier/markup.hpp"

namespace perdure {
namespace {

void print_table(const SearchCounts& counts, std::ostream& out) {
    out << fmt::format("  {:<18}{:<18}{:>13}{:>13}{:>13}\n", "cut in", "what it hit reads", "as before", "as new",
                       "no put then");
    for (unsigned call = 0; call < cut_calls; call++) {
        for (unsigned operation = 0; operation < cut_operations; operation++) {
            std::string name = fmt::format("{}, {}", name_of(static_cast<CutCall>(call)),
                                           name_of(static_cast<CutOperation>(operation)));
            for (unsigned reading = 0; reading < cut_readings; reading++) {
                const Cell& cell = counts.cells[call][operation][reading];
                if (cell.as_before + cell.as_new + cell.nothing == 0) { continue; }
                out << fmt::format("  {:<18}{:<18}{:>13}{:>13}{:>13}\n", name, reading_name(reading),
                                   with_groups(cell.as_before), with_groups(cell.as_new), with_groups(cell.nothing));
                name.clear();
            }
        }
    }
}

bool agrees(uint64_t chance, const ChanceLimit& limit) {
    return static_cast<double>(chance) <= limit.most;
}

/// Why an area does not hold, in a line; empty: it does.
std::string_view why_not(const CutArea& area) {
    const bool lost = std::any_of(area.parts.begin(), area.parts.end(),
                                  [](const CutPart& part) { return part.result.failure.has_value(); });
    if (lost) { return "A CUT LOSES SOMETHING, OR BYTES ARE MADE UP"; }
    const SearchCounts sum = sum_of(area);
    const bool one_shard = area.shards > 1 && area.shards_seen.empty(); // none may have fallen to it
    if (sum.cuts == 0 && !one_shard) { return "NO CUT WAS TRIED"; }
    if (!agrees(sum.chance, chance_limit(sum.torn, area.check_bits))) {
        return "MORE TORN ENTRIES PASS THE CHECK THAN CHANCE LETS PASS";
    }
    return {};
}

/// Those of `options` that name a device for which the store makes no promise, each with a space before it.
std::string without_promise(const std::string& options) {
    std::string out;
    for (const std::string_view one : {"--collateral", "--undecided", "--blank-faults"}) {
        if (options.find(one) != std::string::npos) { out.append(" ").append(one); }
    }
    return out;
}

/// `word` as a shell takes it for one.
std::string shell_word(const std::string& word) {
    constexpr std::string_view plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./+:,@%";
    if (!word.empty() && word.find_first_not_of(plain) == std::string::npos) { return word; }
    std::string out = "'";
    for (const char letter : word) { out += letter == '\'' ? std::string("'\\''") : std::string(1, letter); }
    return out + "'";
}

void print_area(const CutArea& area, std::ostream& out) {
    const SearchCounts sum = sum_of(area);
    double seconds = 0;
    for (const CutPart& part : area.parts) { seconds += part.seconds; }
    const std::string_view why = why_not(area);
    out << fmt::format("{}, area {}: {}\n", area.project, area.area, why.empty() ? "no cut tried loses anything" : why);
    const auto stopped = std::count_if(area.parts.begin(), area.parts.end(), [](const CutPart& part) {
        return !part.result.complete && !part.result.failure;
    });
    if (stopped != 0) {
        out << fmt::format("  NOT ALL WAS TRIED: in {} of {} parts the time was up\n", stopped, area.parts.size());
    }
    if (!area.parts.empty() && area.parts.back().result.failure) {
        out << "  stopped at the first failure: what comes behind it was not played\n";
    }
    if (const std::string unpromised = without_promise(area.options); !unpromised.empty()) {
        out << fmt::format("  on a device that the store makes no promise for:{}\n", unpromised);
    }
    out << "  "
        << wrapped(fmt::format("{} blocks of {} units of {} B on {}, check code of {} bits{}",
                               area.geometry.ring_blocks, area.geometry.units_per_ring_block(),
                               area.geometry.unit_bytes, area.part, area.check_bits,
                               area.shards > 1 && area.shards_seen.empty()
                                   ? fmt::format("; shard {} of {} only", area.shard, area.shards)
                                   : ""),
                   2, 2)
        << "\n\n";
    for (const CutPart& part : area.parts) {
        const SearchCounts& counts = part.result.counts;
        out << fmt::format("  {:<22}{:>13} cut trials,{:>11} distinct {:>7.1f} s\n", part.name,
                           with_groups(counts.trials + counts.equal), with_groups(counts.trials), part.seconds);
        out << "    " << wrapped(part.about, 4, 4) << '\n';
        if (!part.result.complete && !part.result.failure) {
            out << fmt::format("    NOT ALL: the time was up{}\n",
                               part.result.share > 0 && part.result.share < 1
                                   ? fmt::format(" after {:.0f} % of its actions", part.result.share * 100)
                                   : "");
        }
        if (counts.sampled != 0) {
            out << fmt::format("    {} starts had more ways to read than were tried: sampled there\n",
                               with_groups(counts.sampled));
        }
    }
    out << '\n';
    print_table(sum, out);
    const ChanceLimit limit = chance_limit(sum.torn, area.check_bits);
    out << fmt::format("\n  {} cut points, {} cut trials, {} distinct\n  {} starts run, {:.1f} s\n",
                       with_groups(sum.cuts), with_groups(sum.trials + sum.equal), with_groups(sum.trials),
                       with_groups(sum.starts), seconds);
    if (sum.saves != 0) { out << fmt::format("  saved when the supply fails: {} times\n", with_groups(sum.saves)); }
    out << "  "
        << wrapped(fmt::format("torn units read in {} starts; passed the check by chance: {} ({:.2g} expected)",
                               with_groups(sum.torn), sum.chance, limit.expected),
                   2, 2)
        << '\n';
    out << "  "
        << wrapped(
               "Each distinct trial: opened read-only and for good, every record read, held against the model and "
               "the reader of dumps, the power lost again, the next put, and once more. 'A cut trial' counts each cut "
               "point with each way its weak units may read; equal states are run once.",
               2, 2)
        << '\n';
}

} // namespace

SearchCounts sum_of(const CutArea& area) {
    SearchCounts sum;
    for (const CutPart& part : area.parts) { sum += part.result.counts; }
    return sum;
}

ChanceLimit chance_limit(uint64_t torn, uint32_t check_bits) {
    const double expected = static_cast<double>(torn) * std::exp2(-static_cast<double>(check_bits));
    return {expected, poisson_count(expected, 1 - 1e-6)};
}

bool holds(const CutArea& area) {
    return why_not(area).empty();
}

bool report(const std::vector<CutArea>& areas, bool json, std::ostream& out) {
    const bool all = std::all_of(areas.begin(), areas.end(), holds);
    if (json) {
        out << cuts_json(areas).dump(2) << '\n';
        return all;
    }
    for (const CutArea& area : areas) { print_area(area, out); }
    return all;
}

void print_failure(const ProofPart& part, const SearchFailure& failure, const CutArea& area, bool flash,
                   std::ostream& out) {
    out << wrapped(fmt::format("FAILURE in {}: {}", part.name, failure.what), 0, 2) << '\n';
    for (const std::string& line : failure.story) { out << "  " << line << '\n'; }
    if (flash) {
        print_flash(part, failure.before, failure.after, failure.faulting, "the start that shows it", out);
    } else {
        out << fmt::format("  play it again, with the flash before and after:\n  perdure cut {} --replay {}\n\n",
                           shell_word(area.file), replay_of(area, part.name, failure.path));
    }
}

std::string junit_of(const std::vector<CutArea>& areas) {
    size_t tests = 0;
    size_t failures = 0;
    std::string cases;
    const auto add = [&](const CutArea& area, const std::string& name, double seconds, const std::string& inside) {
        tests++;
        cases += fmt::format("  <testcase classname=\"cut.{}\" name=\"{}\" time=\"{:.3f}\">\n{}  </testcase>\n",
                             escaped_markup(area.area), escaped_markup(name), seconds, inside);
    };
    const auto failure = [&](const std::string& what, const std::string& text) {
        failures++;
        return fmt::format("    <failure message=\"{}\">{}</failure>\n", escaped_markup(what), escaped_markup(text));
    };
    for (const CutArea& area : areas) {
        for (const CutPart& part : area.parts) {
            const SearchResult& result = part.result;
            std::string inside;
            if (result.failure) {
                inside = failure(result.failure->what, replay_of(area, part.name, result.failure->path));
            } else if (!result.complete) {
                inside = fmt::format("    <skipped message=\"{}\"/>\n", "not all was tried: the time was up");
            }
            add(area, part.name, part.seconds, inside);
        }
        const SearchCounts sum = sum_of(area);
        const ChanceLimit limit = chance_limit(sum.torn, area.check_bits);
        add(area, "chance matches", 0,
            agrees(sum.chance, limit)
                ? ""
                : failure("more torn entries pass the check code than chance explains",
                          fmt::format("{} passed, {:.2g} are expected, {:.0f} would still agree with that", sum.chance,
                                      limit.expected, limit.most)));
    }
    return fmt::format("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuite name=\"perdure cut\" tests=\"{}\" "
                       "failures=\"{}\">\n{}</testsuite>\n",
                       tests, failures, cases);
}

} // namespace perdure
