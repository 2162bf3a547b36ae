#include <algorithm>
#include <charconv>
#include <cmath>
#include <ostream>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "choose/choose.hpp"
#include "choose/text.hpp"
#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "project/diagnostic.hpp"
#include "project/read.hpp"

namespace perdure {

namespace {

constexpr size_t policies_max = 32;

std::vector<std::string> split(const std::string& list, char between = ',') {
    std::vector<std::string> out;
    for (size_t at = 0; at <= list.size();) {
        const size_t end = std::min(list.find(between, at), list.size());
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

/// One change of a policy, "stretch=4", "batch=16" or "lazy"; the message where it is none.
std::string read_change(const std::string& text, SaveChange& out) {
    if (text == "lazy") {
        out.lazy_start = true;
        return "";
    }
    const size_t equals = text.find('=');
    const std::string name = text.substr(0, equals),
                      figure = equals == std::string::npos ? "" : text.substr(equals + 1);
    const auto value = number_of(figure);
    if (name == "stretch") {
        if (!value || !(*value > 0 && *value <= 1e6)) {
            return fmt::format("\"{}\" is not a number above 0, 1,000,000 at most", figure);
        }
        out.stretch = *value;
        return "";
    }
    if (name == "batch") {
        if (!value || !(*value >= 1 && *value <= log_batch_max) || std::floor(*value) != *value) {
            return fmt::format("\"{}\" is not a whole number of samples from 1 to {}", figure, log_batch_max);
        }
        out.batch = static_cast<uint32_t>(*value);
        return "";
    }
    return fmt::format("\"{}\" is not said, stretch=N, batch=N or lazy, or several of these with + between", text);
}

/// "said", or changes with "+" between them.
std::string read_policy(const std::string& text, SaveChange& out) {
    if (text == "said") { return ""; }
    std::set<std::string> kinds;
    for (const std::string& word : split(text, '+')) {
        if (!kinds.insert(word.substr(0, word.find('='))).second || word == "said") {
            return fmt::format("\"{}\": each change once, and said alone", text);
        }
        if (std::string message = read_change(word, out); !message.empty()) { return message; }
    }
    return "";
}

std::string read_options(const CommandInput& input, const Project& project, ChooseOptions& out) {
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
        known.push_back(project.part.id);
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
    if (const auto layouts = given("--layouts")) {
        const auto value = number_of(*layouts);
        if (!value || !(*value >= 1 && *value <= layouts_max) || std::floor(*value) != *value) {
            return fmt::format("--layouts: \"{}\" is not a whole number from 1 to {}", *layouts, layouts_max);
        }
        out.layouts = static_cast<uint32_t>(*value);
    }
    const auto stretch = given("--stretch"), policies = given("--policies");
    if (stretch && policies) { return "--stretch and --policies: one of the two; stretch=N is a policy"; }
    if (!stretch && !policies) { return ""; }
    const std::vector<std::string> words = split(stretch ? *stretch : *policies);
    if (words.size() > policies_max) {
        return fmt::format("{}: {} ways to save, {} at most", stretch ? "--stretch" : "--policies", words.size(),
                           policies_max);
    }
    out.policies.clear();
    for (const std::string& word : words) {
        SaveChange& change = out.policies.emplace_back();
        std::string message = stretch ? read_change("stretch=" + word, change) : read_policy(word, change);
        if (message.empty()) {
            const std::string unfit = refused(project, change);
            for (size_t i = 0; i + 1 < out.policies.size() && message.empty(); ++i) {
                if (words_of(out.policies[i]) == words_of(change)) {
                    message = fmt::format("\"{}\" is there twice", word);
                }
            }
            if (!unfit.empty()) { message = fmt::format("\"{}\" changes nothing here: {}", word, unfit); }
        }
        if (!message.empty()) { return fmt::format("--{}: {}", stretch ? "stretch" : "policies", message); }
    }
    return "";
}

} // namespace

int run_choose(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto print = [&](const nlohmann::json& json) {
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    };
    const auto project = load_project(input.arguments.front(), catalog());
    if (!project) { return complain(input, project.error(), out, err); }
    ChooseOptions options;
    if (const std::string message = read_options(input, *project, options); !message.empty()) {
        return complain(input, message, out, err);
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
