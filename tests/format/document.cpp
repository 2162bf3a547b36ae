#include "tests/format/document.hpp"
#include "tests/paths.hpp"

#include <fstream>
#include <sstream>

namespace perdure::format_examples {

std::map<std::string, Lines> read_document() {
    std::ifstream file(source_path("store/format.md"));
    std::map<std::string, Lines> found;
    std::string line;
    std::string name;
    bool inside = false;
    while (std::getline(file, line)) {
        if (line.rfind("```", 0) == 0) {
            inside = !inside && !name.empty();
            name = inside ? name : "";
        } else if (inside) {
            std::istringstream words(line.substr(0, line.find(';')));
            std::string joined;
            for (std::string word; words >> word;) { joined += (joined.empty() ? "" : " ") + word; }
            if (!joined.empty()) { found[name].push_back(joined); }
        } else if (line.rfind("Example ", 0) == 0 && line.back() == ':') {
            name = line.substr(8, line.size() - 9);
        }
    }
    return found;
}

} // namespace perdure::format_examples
