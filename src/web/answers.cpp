#include "web/answers.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "budget/sensitivity.hpp"
#include "budget/text.hpp"
#include "choose/choose.hpp"
#include "dossier/part_figures.hpp"
#include "dossier/project_json.hpp"
#include "inspect/json.hpp"
#include "steps/steps.hpp"

namespace perdure {
namespace {

std::string read_number(const nlohmann::json& request, const char* name, double least, double most,
                        std::optional<double>& to) {
    const auto found = request.find(name);
    if (found == request.end() || found->is_null()) { return {}; }
    const double value = found->is_number() ? found->get<double>() : NAN;
    if (!(value >= least && value <= most)) {
        return fmt::format("\"{}\" takes a number from {:g} to {:g}", name, least, most);
    }
    to = value;
    return {};
}

/// Every save that has a figure of its own, so many times as often.
void save_more_often(Project& project, double factor) {
    const std::vector<Lever> levers = levers_of(project);
    for (const Lever& lever : levers) {
        if (lever.name.starts_with("saves of ")) { lever.set(project, lever.value * factor); }
    }
}

/// Kind, record, text; without what is empty at the end.
nlohmann::json json_of(const StepUnit& unit) {
    nlohmann::json out = nlohmann::json::array({std::string(1, unit.kind)});
    if (unit.record >= 0 || !unit.text.empty()) { out.push_back(unit.record); }
    if (!unit.text.empty()) { out.push_back(unit.text); }
    return out;
}

/// A whole number of a call; absent where it is not given. False where it is given and is none.
bool whole_of(const nlohmann::json& call, const char* name, uint64_t most, std::optional<uint64_t>& to) {
    const auto found = call.find(name);
    if (found == call.end() || found->is_null()) { return true; }
    if (!found->is_number_unsigned() || found->get<uint64_t>() > most) { return false; }
    to = found->get<uint64_t>();
    return true;
}

std::string read_call(const nlohmann::json& call, const std::vector<const Record*>& records, StepCall& to) {
    static constexpr std::array<std::string_view, 4> kinds{"put", "fill", "service", "start"};
    const nlohmann::json word = call.is_object() ? call.value("do", nlohmann::json()) : nlohmann::json();
    const auto* const kind = std::find(kinds.begin(), kinds.end(), word.is_string() ? word.get<std::string>() : "");
    if (kind == kinds.end()) { return "\"do\" is put, fill, service or start"; }
    to.kind = static_cast<StepCall::Kind>(kind - kinds.begin());
    std::optional<uint64_t> count, cut_after, draw;
    if (!whole_of(call, "count", fill_max, count) || !whole_of(call, "cut_after", 1'000'000, cut_after) ||
        !whole_of(call, "draw", UINT32_MAX, draw)) {
        return fmt::format("\"count\" (at most {}), \"cut_after\" and \"draw\" are whole numbers", fill_max);
    }
    to.count = static_cast<uint32_t>(count.value_or(1));
    if (cut_after) { to.cut_after = static_cast<uint32_t>(*cut_after); }
    to.draw = draw.value_or(1);
    if (to.kind != StepCall::Kind::put && to.kind != StepCall::Kind::fill) { return {}; }
    const nlohmann::json name = call.value("record", nlohmann::json());
    const auto record = std::find_if(records.begin(), records.end(), [&](const Record* each) {
        return name.is_string() && each->name == name.get<std::string>();
    });
    to.record = static_cast<size_t>(record - records.begin());
    return record == records.end() ? "\"record\" is none of that area" : "";
}

std::string read_script(const Project& project, const nlohmann::json& request, std::vector<StepCall>& to) {
    const nlohmann::json name = request.value("area", nlohmann::json());
    const auto area = std::find_if(project.areas.begin(), project.areas.end(), [&](const Area& each) {
        return name.is_string() && each.name == name.get<std::string>();
    });
    if (area == project.areas.end()) { return "\"area\" is none of the project"; }
    const nlohmann::json script = request.value("script", nlohmann::json());
    if (!script.is_array() || script.size() > step_calls_max) {
        return fmt::format("\"script\" is a list of at most {} calls", step_calls_max);
    }
    const std::vector<const Record*> records = records_of(project, *area);
    uint64_t puts = 0;
    for (const nlohmann::json& call : script) {
        std::string wrong = read_call(call, records, to.emplace_back());
        if (!wrong.empty()) { return fmt::format("call {}: {}", to.size(), wrong); }
        puts += to.back().count;
    }
    return puts > 2 * fill_max ? fmt::format("more than {} puts in all", 2 * fill_max) : "";
}

} // namespace

std::string read_change(const nlohmann::json& request, TriedChange& to) {
    std::optional<double> blocks;
    for (const std::string& wrong : {read_number(request, "life", 0.01, 100, to.life_years),
                                     read_number(request, "saves", 1e-3, 1e3, to.saves_factor),
                                     read_number(request, "blocks", 2, 65536, blocks)}) {
        if (!wrong.empty()) { return wrong; }
    }
    if (blocks) { to.ring_blocks = static_cast<uint32_t>(*blocks); }
    const auto part = request.find("part");
    if (part == request.end() || part->is_null()) { return {}; }
    if (!part->is_string() || catalog().find(part->get<std::string>()) == nullptr) {
        return "\"part\" takes an id of the catalogue";
    }
    to.part = part->get<std::string>();
    return {};
}

nlohmann::json tried_json(const ProjectFile& file, const TriedChange& change) {
    nlohmann::json out{
        {"holds", false}, {"errors", nlohmann::json::array()}, {"refused", nullptr}, {"budget", nullptr}};
    if (!file.project) {
        out["errors"] = diagnostics_json(file.project.error());
        return out;
    }
    Project project = *file.project;
    if (change.part && *change.part != project.part.id) { project = on_part(project, *catalog().find(*change.part)); }
    if (change.life_years) { project.product.life_years = *change.life_years; }
    if (change.saves_factor) { save_more_often(project, *change.saves_factor); }
    if (change.ring_blocks) {
        for (Area& area : project.areas) {
            const auto layout = lay_out(project, area, *change.ring_blocks);
            if (!layout) {
                out["refused"] = {{"text", layout.error().text}, {"line", area.place.line}};
                return out;
            }
            area.size_bytes = layout->geometry.area_bytes();
        }
    }
    const auto budget = make_budget(project);
    if (!budget) {
        out["refused"] = {{"text", budget.error().text}, {"line", project.part_place.line}};
        return out;
    }
    out["holds"] = budget->holds();
    out["budget"] = budget_json(*budget);
    return out;
}

nlohmann::json steps_json(const ProjectFile& file, const nlohmann::json& request) {
    if (!file.project) { return {{"error", "the project file has errors"}}; }
    std::vector<StepCall> script;
    const std::string wrong = read_script(*file.project, request, script);
    if (!wrong.empty()) { return {{"error", wrong}}; }
    std::optional<uint64_t> blocks;
    if (!whole_of(request, "blocks", 65536, blocks)) { return {{"error", "\"blocks\" is a whole number"}}; }
    const auto shown = play_steps(*file.project, request["area"].get<std::string>(),
                                  static_cast<uint32_t>(blocks.value_or(0)), script);
    if (!shown) { return {{"error", shown.error().text}}; }
    nlohmann::json out{{"blocks", shown->shape.blocks},
                       {"block_units", shown->shape.block_units},
                       {"unit_bytes", shown->shape.unit_bytes},
                       {"smaller_ring", shown->smaller_ring},
                       {"left_out", shown->left_out},
                       {"erases", shown->erases},
                       {"off", shown->off},
                       {"said", shown->said},
                       {"took_ms", shown->took_ms},
                       {"reads", shown->reads},
                       {"begin", nlohmann::json::array()},
                       {"frames", nlohmann::json::array()},
                       {"values", nlohmann::json::array()}};
    for (const StepUnit& unit : shown->begin) { out["begin"].push_back(json_of(unit)); }
    for (const StepFrame& frame : shown->frames) {
        nlohmann::json changed = nlohmann::json::array();
        for (const auto& [place, unit] : frame.changed) { changed.push_back({place, json_of(unit)}); }
        out["frames"].push_back({{"what", frame.what}, {"changed", changed}});
    }
    for (const StepValue& value : shown->values) {
        out["values"].push_back({{"record", value.record}, {"text", value.text}, {"remark", value.remark}});
    }
    return out;
}

nlohmann::json dump_json(const ProjectFile& file, const std::string& name, const std::string& contents,
                         bool gaps_are_blank) {
    if (!file.project) { return {{"error", "the project file has errors"}}; }
    const auto expected = make_expected(*file.project, std::nullopt);
    if (!expected) { return {{"error", expected.error().text}}; }
    const DumpFile dump = read_dump(name, contents, std::nullopt, std::nullopt);
    if (dump.read.memory.segments.empty()) { return {{"error", fmt::format("{} holds no bytes", name)}}; }
    InspectOptions options;
    options.gaps_are_blank = gaps_are_blank;
    const Inspection inspection = inspect(*expected, dump, options);
    if (!inspection.place.unclear.empty()) {
        return {{"error", fmt::format("{}: {}: a HEX file says it, or perdure inspect with --base", name,
                                      inspection.place.unclear)}};
    }
    nlohmann::json out = json_of(*expected, dump, inspection, {.history_max = 6, .listing = false});
    for (size_t i = 0; i < inspection.areas.size(); i++) {
        const InspectedArea& area = inspection.areas[i];
        out["areas"][i]["units"] = nlohmann::json::array();
        for (const StepUnit& unit : step_units(area.view(), area.expected->records)) {
            out["areas"][i]["units"].push_back(json_of(unit));
        }
        out["areas"][i]["block_units"] = area.shape.block_units;
    }
    return out;
}

bool names_case(const nlohmann::json& result, const std::string& replay) {
    try {
        for (const nlohmann::json& area : result.at("areas")) {
            for (const nlohmann::json& part : area.at("parts")) {
                if (part.contains("failure") && part["failure"].at("replay") == replay) { return true; }
                for (const nlohmann::json& cell : part.at("counts").at("outcomes")) {
                    if (!cell.contains("replay")) { continue; }
                    for (const nlohmann::json& line : cell["replay"]) {
                        if (line == replay) { return true; }
                    }
                }
            }
        }
    } catch (const nlohmann::json::exception&) {} // a kept file that something else has written
    return false;
}

nlohmann::json part_list_json() {
    nlohmann::json out = nlohmann::json::array();
    for (const Device& part : catalog().devices) {
        const Readiness use = readiness(part);
        out.push_back({{"id", part.id},
                       {"maker", part.maker},
                       {"family", part.family},
                       {"ready", use.ready},
                       {"why_not", use.why_not}});
    }
    return out;
}

} // namespace perdure
