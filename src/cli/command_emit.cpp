#include <fstream>
#include <ostream>
#include <sstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/findings.hpp"
#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "firmware/code_estimate.hpp"
#include "firmware/firmware.hpp"
#include "firmware/folder.hpp"
#include "firmware/names.hpp"
#include "firmware/size_table.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

/// What the run has to say, for both kinds of output.
struct Outcome {
    std::string folder;
    FolderReport report;
    FirmwarePlan plan;
    std::vector<std::string> failing; ///< requirements that do not hold
};

std::string joined(const std::vector<std::string>& words) {
    return fmt::format("{}", fmt::join(words, ", "));
}

void show(const Outcome& outcome, std::ostream& out) {
    const auto line = [&](const std::string& label, const std::vector<std::string>& paths) {
        if (!paths.empty()) { out << fmt::format("{:<12}{}\n", label, wrapped(joined(paths), 12, 12)); }
    };
    out << outcome.folder << ":\n";
    line("written", outcome.report.written);
    line("unchanged", outcome.report.unchanged);
    line("kept, yours", outcome.report.kept);
    line("removed", outcome.report.removed);
    line("left", outcome.report.left);
    if (!outcome.report.left.empty()) {
        out << "            (no longer emitted, but changed by hand: yours to remove)\n";
    }
    out << "\n";
    for (const PlannedArea& area : outcome.plan.areas) {
        const FlashGeometry& geometry = area.layout.geometry;
        out << fmt::format("area {}: {} ring blocks of {} bytes, 0x{:X} bytes into flash\n", area.name,
                           geometry.ring_blocks, geometry.ring_block_bytes(), area.offset_bytes);
    }
    out << fmt::format("\n{:<28}{:>10}{:>14}{:>10}{:>10}\n", "takes, in bytes", "RAM", "store's code", "leanest",
                       "stack");
    for (const TargetSize& target : store_sizes()) {
        out << fmt::format("{:<28}{:>10}{:>14}{:>10}{:>10}\n", target.target, ram_bytes(outcome.plan, target),
                           store_code_bytes(outcome.plan, target), target.leanest_bytes,
                           stack_bytes(outcome.plan, target));
    }
    out << "RAM: up to 3 bytes an area of padding on top; on AVR the constants too. Code as\n"
           "measured with -Os, as perdure_features.h has it built and with every feature left\n"
           "out; stack along the store's calls, a save when the supply fails on top of the\n"
           "deepest (store/SIZE.md). The port is not counted.\n";
    out << fmt::format("data.c: about {} bytes of code on a Cortex-M0+ (estimated)\n", data_code_bytes(outcome.plan));
    for (const std::string& name : outcome.failing) {
        out << wrapped(fmt::format("does not hold: {} (perdure budget says more)", name), 2, 0) << '\n';
    }
}

nlohmann::json json_of(const Outcome& outcome) {
    nlohmann::json out{{"folder", outcome.folder},
                       {"holds", outcome.failing.empty()},
                       {"does_not_hold", outcome.failing},
                       {"written", outcome.report.written},
                       {"unchanged", outcome.report.unchanged},
                       {"kept", outcome.report.kept},
                       {"removed", outcome.report.removed},
                       {"left", outcome.report.left},
                       {"data_code_bytes_cortex_m0plus", data_code_bytes(outcome.plan)},
                       {"payload_ram_bytes", outcome.plan.payload_bytes_max}};
    for (const TargetSize& target : store_sizes()) {
        out["targets"].push_back({{"target", target.target},
                                  {"ram_bytes", ram_bytes(outcome.plan, target)},
                                  {"store_code_bytes", store_code_bytes(outcome.plan, target)},
                                  {"stack_bytes", stack_bytes(outcome.plan, target)},
                                  {"leanest_code_bytes", target.leanest_bytes}});
    }
    for (const PlannedArea& area : outcome.plan.areas) {
        out["areas"].push_back({{"name", area.name},
                                {"offset_bytes", area.offset_bytes},
                                {"bytes", area.bytes()},
                                {"ring_blocks", area.layout.geometry.ring_blocks},
                                {"ram_bytes_beside_store", area.ram_bytes}});
    }
    return out;
}

std::string bytes_of(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path, std::ios::binary).rdbuf();
    return text.str();
}

} // namespace

int run_emit(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto print = [&](const nlohmann::json& json) {
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    };
    const auto refuse = [&](const std::string& text) { return complain_rendered(input, text, out, err); };
    EmitOptions options;
    if (const auto prefix = input.options.find("--prefix"); prefix != input.options.end()) {
        if (const auto why = why_no_prefix(prefix->second)) {
            return refuse(fmt::format("perdure: error: --prefix: {}\n", *why));
        }
        options.prefix = prefix->second;
    }
    options.bench = input.options.contains("--bench");
    const auto project = load_project(input.arguments[0], catalog());
    if (!project) { return complain(input, project.error(), out, err); }
    options.project_sha256 = sha256_hex(bytes_of(input.arguments[0]));
    const auto budget = make_budget(*project);
    if (!budget) { return complain(input, *project, budget.error(), out, err); }
    Outcome outcome;
    for (const Finding& finding : budget->findings) {
        if (!finding.holds()) { outcome.failing.push_back(finding.name + " of area " + finding.area); }
    }
    const auto plan = plan_firmware(*project, *budget);
    if (!plan) { return complain(input, std::vector{plan.error()}, out, err); }
    const auto files = emit_firmware(*project, *plan, options);
    if (!files) { return complain(input, std::vector{files.error()}, out, err); }
    outcome.folder = input.arguments[1];
    const auto report = write_folder(outcome.folder, *files, input.options.contains("--force"));
    if (!report) {
        const FolderError& error = report.error();
        std::string text = "perdure: error: nothing was written\n";
        if (!error.written.empty()) {
            text = "perdure: error: only a part was written; emit again once this is mended\n";
        }
        for (const std::string& why : error.why) { text += "  " + why + "\n"; }
        if (!error.written.empty()) { text += "  written: " + wrapped(joined(error.written), 11, 11) + "\n"; }
        if (error.in_the_way) {
            text += "  another folder, or --force to overwrite (never what you wrote in the port)\n";
        }
        return refuse(text);
    }
    outcome.report = *report;
    outcome.plan = *plan;
    if (input.json) {
        print(json_of(outcome));
    } else {
        show(outcome, out);
    }
    return outcome.failing.empty() ? exit_ok : exit_not_met;
}

} // namespace perdure
