#include "steps/steps.hpp"

#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "project/read.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

Project orchard() {
    std::ifstream file(source_path("examples/orchard-valve/orchard-valve.toml"));
    std::ostringstream text;
    text << file.rdbuf();
    return *read_project(text.str(), "x.toml", catalog());
}

constexpr auto put = StepCall::Kind::put, fill = StepCall::Kind::fill, service = StepCall::Kind::service,
               start = StepCall::Kind::start;

StepCall call(StepCall::Kind kind, size_t record = 0) {
    StepCall out;
    out.kind = kind;
    out.record = record;
    return out;
}

StepCall cut(StepCall step, uint32_t after) {
    step.cut_after = after;
    return step;
}

/// The units after the last frame.
std::vector<StepUnit> end_of(const StepsShown& shown) {
    std::vector<StepUnit> units = shown.begin;
    for (const StepFrame& frame : shown.frames) {
        for (const auto& [place, unit] : frame.changed) { units[place] = unit; }
    }
    return units;
}

TEST(Steps, AFormattedPartStartsAndStores) {
    const auto shown = play_steps(orchard(), "store", 0, {call(start), call(put)});
    ASSERT_TRUE(shown) << shown.error().text;
    EXPECT_EQ(shown->shape.blocks, 3U);
    EXPECT_EQ(shown->said, "done");
    ASSERT_EQ(shown->frames.size(), 2U) << "the first entry of a record is a full one, of two units";
    EXPECT_EQ(shown->frames[0].what.substr(0, 14), "programs unit ");
    EXPECT_EQ(shown->values[0].text, "litres = 60, pulses = 1200") << "half of the largest steps";
    size_t current = 0;
    for (const StepUnit& unit : end_of(*shown)) { current += unit.kind == 'c' && unit.record == 0 ? 1 : 0; }
    EXPECT_EQ(current, 2U);
}

TEST(Steps, TheLastFrameIsWhereTheNextCallBegins) {
    const Project project = orchard();
    std::vector<StepCall> script{call(start)};
    std::vector<StepUnit> before;
    for (int i = 0; i < 12; i++) {
        const auto shown = play_steps(project, "store", 3, script);
        ASSERT_TRUE(shown);
        if (i > 0) { EXPECT_EQ(shown->begin, before) << "call " << i; }
        before = end_of(*shown);
        script.push_back(i % 4 == 3 ? call(start) : call(put, static_cast<size_t>(i) % 4));
    }
}

TEST(Steps, ACutPutReadsAsBeforeOrAsPutWhateverWasTorn) {
    const Project project = orchard();
    bool before = false, as_put = false;
    for (uint32_t at = 0; at < 2; at++) {
        for (uint64_t draw = 1; draw <= 24; draw++) {
            StepCall again = call(start);
            again.draw = draw;
            const auto shown =
                play_steps(project, "store", 3, {call(start), call(put), call(put, 1), cut(call(put, 1), at), again});
            ASSERT_TRUE(shown);
            EXPECT_FALSE(shown->off);
            before = before || shown->values[1].remark == "as before the put";
            as_put = as_put || shown->values[1].remark == "as put";
            EXPECT_EQ(shown->values[1].remark.find("NEITHER"), std::string::npos);
            EXPECT_EQ(shown->values[0].text, "litres = 60, pulses = 1200");
        }
    }
    EXPECT_TRUE(before);
    EXPECT_FALSE(as_put) << "a full entry of four units cut in its first two cannot be whole";
    const auto last = play_steps(project, "store", 3, {call(start), cut(call(put, 0), 1), call(start)});
    ASSERT_TRUE(last);
}

TEST(Steps, WithoutPowerOnlyAStartFollows) {
    const auto off = play_steps(orchard(), "store", 3, {call(start), cut(call(put), 0)});
    ASSERT_TRUE(off);
    EXPECT_TRUE(off->off);
    EXPECT_EQ(off->said, "the power went");
    EXPECT_EQ(off->frames.back().what.substr(0, 34), "the power goes while programming u");
    size_t torn = 0;
    for (const StepUnit& unit : end_of(*off)) { torn += unit.kind == 't' ? 1 : 0; }
    EXPECT_EQ(torn, 1U);
    EXPECT_EQ(off->frames.size(), 1U) << "what the store tries without power does not count";
    EXPECT_EQ(play_steps(orchard(), "store", 3, {call(start), cut(call(put), 1)})->frames.size(), 2U);
    const auto wrong = play_steps(orchard(), "store", 3, {call(start), cut(call(put), 0), call(service)});
    ASSERT_FALSE(wrong);
    EXPECT_EQ(wrong.error().text, "call 3: the power is off: only a start can follow");
    EXPECT_EQ(play_steps(orchard(), "store", 3, {call(put, 9)}).error().text, "call 1: there is no such record");
    EXPECT_EQ(play_steps(orchard(), "nowhere", 0, {}).error().text, "there is no such area");
}

TEST(Steps, ManyPutsTurnTheRingAndLeaveOutFrames) {
    StepCall many = call(fill);
    many.count = 2000;
    const auto shown = play_steps(orchard(), "store", 3, {call(start), call(put, 2), many});
    ASSERT_TRUE(shown);
    EXPECT_EQ(shown->frames.size(), frames_max + 1);
    EXPECT_GT(shown->left_out, 1000U);
    EXPECT_GT(shown->erases[0], 2U) << "more than formatting";
    EXPECT_EQ(shown->values[0].text, "litres = 120000, pulses = 2400000");
    EXPECT_GT(shown->took_ms, 2000 * 0.125);
}

} // namespace
} // namespace perdure
