#include "tests/literals.hpp"

#include <algorithm>
#include <cctype>
#include <filesystem>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

bool is_name(char c) {
    return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_';
}

/// Reads one source, character by character.
class Reader {
public:
    Reader(std::string file, const std::string& source) : file_(std::move(file)), source_(source) {}

    std::vector<Literal> read() {
        while (at_ < source_.size()) {
            if (skip_comment() || skip_raw() || skip_character()) { continue; }
            const char c = source_[at_];
            if (c == '"') {
                take_literal();
                continue;
            }
            if (c == '\n') { line_++; }
            if (c == '(' || c == '{' || c == '[') { calls_.emplace_back(name_before(), 0); }
            if ((c == ')' || c == '}' || c == ']') && !calls_.empty()) { calls_.pop_back(); }
            if (c == ',' && !calls_.empty()) { calls_.back().second++; }
            if (std::isspace(static_cast<unsigned char>(c)) == 0) { joins_ = false; }
            at_++;
        }
        return std::move(out_);
    }

private:
    bool starts(const char* text) const {
        return source_.compare(at_, std::char_traits<char>::length(text), text) == 0;
    }

    void go_to(size_t end) {
        end = std::min(end, source_.size());
        line_ += static_cast<size_t>(std::count(source_.begin() + static_cast<std::ptrdiff_t>(at_),
                                                source_.begin() + static_cast<std::ptrdiff_t>(end), '\n'));
        at_ = end;
    }

    bool skip_comment() {
        const bool include = starts("#include");
        if (!starts("//") && !include) { return false; }
        go_to(source_.find('\n', at_));
        return true;
    }

    bool skip_raw() {
        if (!starts("R\"(")) { return false; }
        go_to(source_.find(")\"", at_) + 2);
        return true;
    }

    /// 'x' and '\n', but not the marks in 1'000'000.
    bool skip_character() {
        if (source_[at_] != '\'' || (at_ > 0 && is_name(source_[at_ - 1]))) { return false; }
        go_to(at_ + (at_ + 1 < source_.size() && source_[at_ + 1] == '\\' ? 4 : 3));
        return true;
    }

    std::string name_before() const {
        size_t end = at_;
        while (end > 0 && source_[end - 1] == ' ') { end--; }
        size_t begin = end;
        while (begin > 0 && is_name(source_[begin - 1])) { begin--; }
        return source_.substr(begin, end - begin);
    }

    void take_literal() {
        std::string text;
        const size_t begin = at_;
        for (at_++; at_ < source_.size() && source_[at_] != '"'; at_++) {
            if (source_[at_] != '\\') {
                text += source_[at_];
                continue;
            }
            at_++;
            text += source_[at_] == 'n' ? '\n' : source_[at_];
        }
        at_++;
        if (joins_ && !out_.empty()) {
            out_.back().text += text;
            return;
        }
        joins_ = true;
        std::string before;
        for (const char c : source_.substr(begin < 80 ? 0 : begin - 80, std::min<size_t>(begin, 80))) {
            const bool blank = std::isspace(static_cast<unsigned char>(c)) != 0;
            if (!blank || before.empty() || before.back() != ' ') { before += blank ? ' ' : c; }
        }
        out_.push_back({file_, line_, text, before.substr(before.size() < 40 ? 0 : before.size() - 40), calls_});
    }

    std::string file_;
    const std::string& source_;
    size_t at_ = 0, line_ = 1;
    bool joins_ = false; ///< only blanks since the last literal
    std::vector<std::pair<std::string, size_t>> calls_;
    std::vector<Literal> out_;
};

} // namespace

std::vector<Literal> literals_of(const std::string& file, const std::string& source) {
    return Reader(file, source).read();
}

std::vector<Literal> program_literals() {
    namespace fs = std::filesystem;
    const fs::path root(source_path("src"));
    std::vector<std::string> files;
    for (const fs::directory_entry& entry : fs::recursive_directory_iterator(root)) {
        const std::string name = entry.path().filename().string();
        const std::string ending = entry.path().extension().string();
        if ((ending != ".cpp" && ending != ".hpp") || name.ends_with("_test.cpp") || name.starts_with("sample_")) {
            continue;
        }
        files.push_back(fs::relative(entry.path(), root).string());
    }
    std::sort(files.begin(), files.end());
    std::vector<Literal> out;
    for (const std::string& file : files) {
        for (Literal& literal : literals_of(file, read_file((root / file).string()))) {
            out.push_back(std::move(literal));
        }
    }
    return out;
}

std::vector<std::string> fixed_pieces(const std::string& format) {
    std::vector<std::string> out(1);
    for (size_t i = 0; i < format.size(); i++) {
        const char c = format[i];
        const bool doubled = (c == '{' || c == '}') && i + 1 < format.size() && format[i + 1] == c;
        if (c == '{' && !doubled) {
            for (size_t depth = 0; i < format.size(); i++) {
                depth += format[i] == '{' ? 1 : 0;
                depth -= format[i] == '}' ? 1 : 0;
                if (depth == 0) { break; }
            }
            out.emplace_back();
            continue;
        }
        if (c == '`') {
            out.emplace_back();
            continue;
        }
        i += doubled ? 1 : 0;
        const bool blank = c == '\n' || c == ' ';
        if (!blank || (!out.back().empty() && out.back().back() != ' ')) { out.back() += blank ? ' ' : c; }
    }
    for (std::string& piece : out) {
        while (!piece.empty() && piece.back() == ' ') { piece.pop_back(); }
    }
    std::erase_if(out, [](const std::string& piece) {
        return std::none_of(piece.begin(), piece.end(),
                            [](char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0; });
    });
    return out;
}

size_t words_in(const std::string& format) {
    size_t words = 0;
    for (const std::string& piece : fixed_pieces(format)) {
        size_t letters = 0;
        for (const char c : piece + " ") {
            const bool letter = std::isalpha(static_cast<unsigned char>(c)) != 0;
            if (!letter && letters >= 2) { words++; }
            letters = letter ? letters + 1 : 0;
        }
    }
    return words;
}

} // namespace perdure
