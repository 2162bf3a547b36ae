#include "dossier/report.hpp"

#include <cstdlib>
#include <ctime>

#include <fmt/chrono.h>
#include <nlohmann/json.hpp>

#include "dossier/markup.hpp"

namespace perdure {
namespace {

constexpr std::string_view data_place = "PERDURE_DOSSIER";
constexpr std::string_view text_place = "PERDURE_TEXT";
constexpr std::string_view title_place = "PERDURE_TITLE";

/// JSON that cannot end the script element around it.
std::string for_script(const nlohmann::json& json) {
    const std::string plain = json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
    std::string out;
    for (const char c : plain) {
        if (c == '<') {
            out += "\\u003c";
        } else {
            out += c;
        }
    }
    return out;
}

} // namespace

std::string date_now() {
    std::time_t now = std::time(nullptr);
    if (const char* fixed = std::getenv("SOURCE_DATE_EPOCH"); fixed != nullptr) {
        now = static_cast<std::time_t>(std::strtoll(fixed, nullptr, 10));
    }
    return fmt::format("{:%Y-%m-%d %H:%M} UTC", fmt::gmtime(now));
}

std::string_view no_page() {
    return "this program was built without its page, since npm was not found then; ./dev build installs it";
}

size_t fixed_beginning(std::string_view page) {
    const size_t place = page.find(title_place);
    const size_t element = place == std::string_view::npos ? place : page.rfind('<', place);
    return element == std::string_view::npos ? 0 : element;
}

std::string report_html(std::string_view page, const nlohmann::json& dossier) {
    const std::string text = dossier.value("text", std::string{});
    std::string title = "Perdure";
    if (const auto budget = dossier.find("budget"); budget != dossier.end()) {
        title = budget->value("project", std::string{}) + ": data storage review";
    }
    // In the order in which the page has them; found before anything is put in, which may hold any text.
    const size_t title_at = page.find(title_place);
    const size_t text_at = page.find(text_place);
    const size_t data_at = page.find(data_place);
    if (data_at == std::string_view::npos || !(title_at < text_at && text_at < data_at)) { return {}; }
    const auto from = [&](size_t begin, size_t end) { return page.substr(begin, end - begin); };
    std::string out;
    out += from(0, title_at);
    out += escaped_markup(title);
    out += from(title_at + title_place.size(), text_at);
    out += escaped_markup(text);
    out += from(text_at + text_place.size(), data_at);
    out += for_script(dossier);
    out += page.substr(data_at + data_place.size());
    return out;
}

} // namespace perdure
