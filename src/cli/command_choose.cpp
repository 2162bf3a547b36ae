#include <algorithm>
#include <charconv>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "choose/choose.hpp"
#include "choose/text.hpp"
#include "cli/commands.hpp"
#include "project/diagnostic.hpp"
#include "project/read.hpp"

namespace perdure {

namespace {

std::vector<std::string> split(const std::string& list) {
    std::vector<std::string> out;
    for (size_t at = 0; at <= list.size();) {
        const size_t end = std::min(list.find(',', at), list.size());
        out.push_back(list.substr(at, end - at));
        at = end + 1;
    }
    return out;
}

std::optional<double> number_of(const std::string& text) {
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size()) { return std::nullopt; }
    return value;
}

/// The message of the first wrong word, or nothing.
std::string read_weights(const std::string& list, Weights& out) {
    out = Weights{0, 0, 0, 0, 0}; // what is not named does not count
    for (const std::string& word : split(list)) {
        const size_t equals = word.find('=');
        const std::string name = word.substr(0, equals);
        const double value = number_of(equals == std::string::npos ? "" : word.substr(equals + 1)).value_or(-1);
        double* const weight = name == "flash"    ? &out.flash
                               : name == "life"   ? &out.life
                               : name == "stall"  ? &out.stall
                               : name == "energy" ? &out.energy
                               : name == "loss"   ? &out.loss
                                                  : nullptr;
        if (weight == nullptr || !(value >= 0 && value <= 1000)) {
            return fmt::format(
                "--weigh: \"{}\" is not NAME=N with NAME one of flash, life, stall, energy or loss and N "
                "from 0 to 1000",
                word);
        }
        *weight = value;
    }
    if (out.flash + out.life + out.stall + out.energy + out.loss <= 0) { return "--weigh: something has to count"; }
    return "";
}

std::string read_options(const CommandInput& input, const std::string& own_id, ChooseOptions& out) {
    const auto given = [&](std::string_view name) {
        const auto found = input.options.find(name);
        return found == input.options.end() ? std::optional<std::string>{} : std::optional(found->second);
    };
    out.externals = !given("--no-externals");
    if (const auto weigh = given("--weigh")) {
        if (std::string wrong = read_weights(*weigh, out.weights); !wrong.empty()) { return wrong; }
    }
    if (const auto only = given("--only")) {
        std::vector<std::string> known = known_ids(catalog());
        known.push_back(own_id);
        for (const std::string& id : split(*only)) {
            if (std::find(known.begin(), known.end(), id) != known.end()) {
                out.only.push_back(id);
                continue;
            }
            const std::string near = nearest(id, known);
            return fmt::format("--only: no part or memory \"{}\"{}", id,
                               near.empty() ? "; \"perdure parts\" lists them" : fmt::format("; nearest: {}", near));
        }
    }
    if (const auto stretch = given("--stretch")) {
        out.stretches.clear();
        for (const std::string& word : split(*stretch)) {
            const auto value = number_of(word);
            if (!value || !(*value > 0 && *value <= 1e6)) {
                return fmt::format("--stretch: \"{}\" is not a number above 0", word);
            }
            out.stretches.push_back(*value);
        }
    }
    return "";
}

} // namespace

int run_choose(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto print = [&](const nlohmann::json& json) {
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    };
    const auto wrong = [&](const std::string& text) {
        if (input.json) {
            print({{"holds", false}, {"errors", text}});
        } else {
            err << text << (text.empty() || text.back() != '\n' ? "\n" : "");
        }
        return exit_input_wrong;
    };
    const auto project = load_project(input.arguments.front(), catalog());
    if (!project) { return wrong(render(project.error())); }
    ChooseOptions options;
    if (const std::string message = read_options(input, project->part.id, options); !message.empty()) {
        return wrong("perdure choose: " + message);
    }
    const Choice choice = choose(*project, catalog(), options);
    if (input.json) {
        print(choice_json(choice));
    } else {
        out << choice_text(choice, input.options.find("--all") != input.options.end());
    }
    return choice.winner ? exit_ok : exit_not_met;
}

} // namespace perdure
