// The review report: the built page with a dossier inside, one file that asks nothing of any network.
#pragma once

#include <string>
#include <string_view>

#include <nlohmann/json_fwd.hpp>

namespace perdure {

/// The built page "report.html" or "live.html"; empty where the program was built without (npm was not found).
std::string_view embedded_page(std::string_view file_name);

/// What to say where the page is not there.
std::string_view no_page();

/// Now, or the time that SOURCE_DATE_EPOCH names (reproducible-builds.org), in UTC: "2026-11-26 02:39 UTC".
std::string date_now();

/// `page` with the document at the place that the page keeps for it, and the text of its budget for readers without
/// scripts. Empty if the page has no such place.
std::string report_html(std::string_view page, const nlohmann::json& dossier);

/// How many bytes report_html() begins with whatever the document is: up to the page's title.
size_t fixed_beginning(std::string_view page);

} // namespace perdure
