// The emitted test of logs and of the save when the supply fails can fail.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"

namespace perdure {
namespace {

TEST(EmittedHostTest, FailsWhereTheCodeOfLogsIsWrong) {
    const ScratchFolder folder;
    write_file(folder / "logs.toml", every_log_project());
    for (const Fault& fault :
         {Fault{"data.c", "trace_waiting.count++;", "trace_waiting.count = (uint8_t)(trace_waiting.count + 2u);"},
          Fault{"data.c", "in.end = from;\n", "in.end = from == 0u ? 0u : from - 1u;\n"},
          Fault{"data.c", "first.sample.at < since", "first.sample.at <= since"},
          Fault{"data.c", "sample.at >= since", "sample.at > since"},
          Fault{"data.c", "put32(payload, next + 1u);", "put32(payload, next);"},
          Fault{"data.c", "number > last_oldest()", "number > last_oldest() + 1u"},
          Fault{"data.c", "perdure_log_next(&first_ram.store, 0u) + trace_waiting.count",
                "perdure_log_next(&first_ram.store, 0u)"},
          Fault{"data.c", "return perdure_put_now(&first_ram.store, 1u, now);", "return PERDURE_OK;"},
          Fault{"data.c", "now[0] = from->mode;", "now[0] = 0;"}}) {
        expect_found(folder / "logs.toml", fault);
    }
}

} // namespace
} // namespace perdure
