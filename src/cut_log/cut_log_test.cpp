#include "cut_log/cut_log.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace perdure {
namespace {

/// Lines as a product sends them: numbered from each start, with their check codes.
std::string log_of(const std::vector<std::string>& words) {
    std::string out;
    uint32_t number = 0;
    for (const std::string& word : words) {
        if (word.rfind("start", 0) == 0) { number = 0; }
        const std::string line = fmt::format("PB1 {} {}", number++, word);
        out += fmt::format("{} *{:04X}\n", line, line_check(line));
    }
    return out;
}

CutLogReport check(const std::string& text) {
    return check_cut_log(read_bench_log(text));
}

const std::vector<std::string> first_start{"start",         "opened 0 2",       "formatting 0",
                                           "formatted 0 0", "have 0 7 default", "ready"};

std::vector<std::string> after_first(const std::vector<std::string>& more) {
    std::vector<std::string> out = first_start;
    out.insert(out.end(), more.begin(), more.end());
    return out;
}

/// Saves 1, 2, and 3 is cut; then a start that reads this.
std::vector<std::string> cut_in_3(const std::string& have) {
    return after_first(
        {"put 0 7 1", "done 0 7 1 0", "put 0 7 2", "done 0 7 2 0", "put 0 7 3", "start", "opened 0 0", have, "ready"});
}

std::string first_fault(const std::vector<std::string>& words) {
    const CutLogReport report = check(log_of(words));
    return report.faults.empty() ? "" : fmt::format("{}: {}", report.faults[0].place, report.faults[0].text);
}

// The check value of CRC-16/XMODEM in the catalogue of parametrised CRC algorithms
// (reveng.sourceforge.io/crc-catalogue).
TEST(CutLogLine, CheckCodeIsThePublishedOne) {
    EXPECT_EQ(line_check("123456789"), 0x31C3);
}

TEST(CutLogLine, IsWholeDamagedOrOthers) {
    const std::string whole = log_of({"start"});
    EXPECT_EQ(read_bench_line(whole.substr(0, whole.size() - 1), 1).state, LineState::whole);
    for (size_t kept = 4; kept + 1 < whole.size(); ++kept) {
        EXPECT_EQ(read_bench_line(whole.substr(0, kept), 1).state, LineState::damaged) << kept;
    }
    std::string changed = whole.substr(0, whole.size() - 1);
    changed[6] ^= 1;
    EXPECT_EQ(read_bench_line(changed, 1).state, LineState::damaged);
    EXPECT_EQ(read_bench_line("booting v1.2", 1).state, LineState::other_text);
    // A line that the cut ended runs into the first one of the next start.
    EXPECT_EQ(read_bench_line("PB1 57 put 0 1" + whole.substr(0, whole.size() - 1), 1).word, "start");
}

TEST(CutLog, ACutSaveReadsAsBeforeOrAsPut) {
    for (const char* have : {"have 0 7 2 32", "have 0 7 3 32", "have 0 7 2 8"}) {
        const CutLogReport report = check(log_of(cut_in_3(have)));
        EXPECT_EQ(report.fault_count, 0U) << have;
        EXPECT_EQ(report.starts, 2U);
        EXPECT_EQ(report.cuts_in_saves(), 1U);
        EXPECT_EQ(report.records.at({0, 7}).cut_read_new, have[9] == '3' ? 1U : 0U);
        EXPECT_EQ(report.records.at({0, 7}).acknowledged, 2U);
        EXPECT_EQ(report.damaged + report.missing + report.other_text, 0U);
    }
}

TEST(CutLog, WhatMustNotBeIsToldWithItsLine) {
    EXPECT_EQ(first_fault(cut_in_3("have 0 7 1 32")),
              "14: record 7 of area 0 reads as 1; 2 or 3, which was being saved was saved");
    EXPECT_EQ(first_fault(cut_in_3("have 0 7 4 32")),
              "14: record 7 of area 0 reads as 4; 2 or 3, which was being saved was saved");
    EXPECT_EQ(first_fault(cut_in_3("have 0 7 default")),
              "14: record 7 of area 0 reads as the default; 2 or 3, which was being saved was saved");
    EXPECT_EQ(first_fault(cut_in_3("have 0 7 other")),
              "14: record 7 of area 0 reads as something that was never saved");
    EXPECT_EQ(first_fault(cut_in_3("have 0 7 fault")), "14: record 7 of area 0 cannot be read");
    EXPECT_EQ(first_fault(after_first({"put 0 7 1", "done 0 7 1 6"})),
              "8: saving 1 in record 7 of area 0 failed with PERDURE_FAULT");
    EXPECT_EQ(first_fault(after_first({"put 0 7 1", "done 0 7 1 0", "start", "opened 0 2"})),
              "10: area 0 reads blank, though it was formatted and saved to");
    EXPECT_EQ(first_fault(after_first({"start", "opened 0 3"})), "8: area 0 does not open: PERDURE_FOREIGN");
    EXPECT_EQ(first_fault(after_first({"start", "opened 0 0", "ready"})),
              "9: record 7 of area 0 was not read at this start");
}

// What a completed start has read stays: as old once, as new at the next start is wrong.
TEST(CutLog, WhatAStartHasReadStays) {
    std::vector<std::string> words = cut_in_3("have 0 7 2 32");
    for (const char* word : {"start", "opened 0 0", "have 0 7 3 32"}) { words.emplace_back(word); }
    EXPECT_EQ(first_fault(words), "18: record 7 of area 0 reads as 3; 2 was saved");
    // But for lazy starts, which decide with the first save.
    words = cut_in_3("have 0 7 2 32");
    words[11] = "start lazy";
    for (const char* word : {"start lazy", "opened 0 0", "have 0 7 3 32"}) { words.emplace_back(word); }
    EXPECT_EQ(first_fault(words), "");
}

TEST(CutLog, AFormatMayBeCut) {
    EXPECT_EQ(first_fault({"start", "opened 0 2", "formatting 0", "start", "opened 0 2", "formatting 0",
                           "formatted 0 0", "have 0 7 default", "ready"}),
              "");
}

TEST(CutLog, LinesThatAreMissingOrDamagedWidenWhatIsAllowed) {
    // "done 0 7 2 0" is lost, and 3 was begun: so 2 was done.
    std::string text = log_of(cut_in_3("have 0 7 2 32"));
    const size_t done = text.find("PB1 9 done 0 7 2 0");
    std::string lost = text;
    lost.erase(done, lost.find('\n', done) + 1 - done);
    EXPECT_EQ(check(lost).missing, 1U);
    EXPECT_EQ(check(lost).fault_count, 0U);
    EXPECT_EQ(check(lost).records.at({0, 7}).acknowledged, 2U);
    std::string damaged = text;
    damaged[done + 10] = '?';
    EXPECT_EQ(check(damaged).damaged, 1U);
    EXPECT_EQ(check(damaged).missing, 0U);
    EXPECT_EQ(check(damaged).fault_count, 0U);
    // The line that a cut ends is none: neither alone, nor run into the next.
    const size_t second_start = text.rfind("PB1 0 start");
    EXPECT_EQ(check(text.substr(0, second_start) + "PB1 11 pu\n" + text.substr(second_start)).damaged, 0U);
    EXPECT_EQ(check(text.substr(0, second_start) + "PB1 11 pu" + text.substr(second_start)).damaged, 0U);
}

TEST(CutLog, WordsOfOthersAndRubbishAreSafe) {
    std::string text = log_of(cut_in_3("have 0 7 2 32"));
    EXPECT_EQ(check("hello\n" + text).other_text, 1U);
    EXPECT_EQ(check("").starts, 0U);
    EXPECT_EQ(check(log_of({"start", "sing 1", "put 0", "put x y z", "done 0 7 1", "have 0 7", "opened"})).damaged, 6U);
    for (size_t i = 0; i < text.size(); ++i) {
        std::string changed = text;
        changed[i] = static_cast<char>(changed[i] ^ 0x15);
        (void)check(changed);
        (void)check(text.substr(i));
    }
}

TEST(CutLog, ItsRecordsAreHeldAgainstTheProjects) {
    const CutLogReport report = check(log_of(cut_in_3("have 0 7 2 32")));
    EXPECT_TRUE(compare_records(report, {{0, 7}}).empty());
    EXPECT_EQ(compare_records(report, {{0, 7}, {1, 9}}),
              std::vector<std::string>{"record 9 of area 1 is not in the log"});
    EXPECT_EQ(compare_records(report, {}), std::vector<std::string>{"record 7 of area 0 is not in the project"});
}

} // namespace
} // namespace perdure
