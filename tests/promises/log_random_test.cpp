// Logs over random operations, the short form: log_random_slow_test.cpp does millions.
#include "tests/promises/log_random.hpp"

namespace perdure {
namespace {

/// Samples that stay for sure where nothing but samples is put, in full entries of one sample each: those of the blocks
/// that are neither head nor blank, less half a block where perdure_service erases the tail once the head is half full.
size_t least_depth(const LogAreaShape& shape, bool served) {
    const uint32_t entry = (8 + shape.sample_bytes + shape.check_bits / 8 + shape.unit_bytes - 1) / shape.unit_bytes;
    const uint32_t spare = shape.blocks >= 4 ? 2 : 1;
    const uint32_t overhead = 16 / shape.unit_bytes + 2 + 4; // stamp, value, marks
    const size_t in_block = (shape.block_units - overhead) / entry - 1;
    return size_t{shape.blocks - spare - 1U} * in_block - (served ? in_block / 2 : 0);
}

RC_GTEST_PROP(Logs, HoldTheirOrderAndDepthAgainstADeque, ()) {
    uint64_t appended = 0;
    log_random::holds_a_deque(400, appended);
}

RC_GTEST_PROP(Logs, KeepTheirDepth, ()) {
    LogAreaShape shape;
    shape.unit_bytes = *rc::gen::element<uint16_t>(2, 6, 8, 32);
    shape.block_units = static_cast<uint16_t>(*rc::gen::element<uint16_t>(1200, 2048) / shape.unit_bytes * 2);
    shape.blocks = *rc::gen::inRange<uint16_t>(3, 9);
    shape.batch = *rc::gen::element<uint8_t>(1, 4, 15);
    LogArea area(shape);
    RC_ASSERT(area.format() == PERDURE_OK);
    const bool served = *rc::gen::arbitrary<bool>();
    const size_t depth = least_depth(shape, served);
    size_t put = 0;
    for (uint32_t step = 0; step < 3000; step++) {
        RC_ASSERT(area.append(shape.batch) == PERDURE_OK);
        put += shape.batch;
        if (served && step % 3 == 0) { (void)perdure_service(&area.store); }
        if (step % 61 == 0) { RC_ASSERT(area.read(0).size() >= std::min(put, depth)); }
    }
    RC_ASSERT(put > depth); // the ring has turned, or the property says little
}

} // namespace
} // namespace perdure
