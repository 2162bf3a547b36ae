// Units that come back: the real store on a simulated flash, used for a while, then damaged, then dumped.
#pragma once

#include <memory>
#include <random>

#include <gtest/gtest.h>

#include "hex/hex.hpp"
#include "image/image.hpp"
#include "inspect/inspection.hpp"
#include "project/read.hpp"
#include "unit/unit.hpp"

namespace perdure::returned {

/// A small product: blocks of 64 units of 8 bytes, as many as `blocks`, from 0x08000000 on.
std::string
project_text(uint32_t blocks, uint32_t block_bytes = 512, std::string_view blank = "0xFF",
             std::string_view settings_fields = "{ name = \"delay_s\", type = \"u16\", default = 30 }, { name "
                                                "= \"label\", type = \"bytes:10\" }");

/// A project with all that is made from it. Parts point into each other.
struct Product {
    explicit Product(const std::string& text);
    Product(const Product&) = delete;
    Product& operator=(const Product&) = delete;

    Project project;
    ImagePlan plan;
    Expected expected;
    [[nodiscard]] const ImageArea& area() const { return plan.areas.front(); }
};

/// A unit in use.
class UsedUnit {
public:
    UsedUnit(const Product& product, uint64_t seed);

    /// Puts `saves` values, calling service between; a total grows, a value is drawn anew.
    void use(int saves);
    /// One put, no service.
    void put_one() { ASSERT_TRUE(put(0)); }
    /// One put with the power cut in the operation after `operations` whole ones; then `starts` more starts, each cut
    /// likewise; then, with `end` true, one that completes.
    void cut(uint64_t operations, int starts, bool end);

    [[nodiscard]] const std::vector<uint8_t>& flash() const { return unit_->flash().image(); }
    [[nodiscard]] Flash& simulated() { return unit_->flash(); }
    [[nodiscard]] bool start();
    /// What a record holds, by the last acknowledged put.
    [[nodiscard]] const std::vector<uint8_t>& value(size_t record) const { return values_[record]; }

private:
    bool put(size_t record);
    void service();

    const Product& product_;
    std::unique_ptr<Unit> unit_;
    std::vector<std::vector<uint8_t>> values_;
    std::mt19937_64 random_;
};

/// The dump of an area's bytes as a binary, `skip` bytes left out at its begin, at most `bytes` long.
DumpFile dump_of(const std::vector<uint8_t>& area, size_t skip = 0, size_t bytes = SIZE_MAX);

/// Inspects it, and holds what must hold of every inspection: the ranges follow each other and cover the area, and
/// their totals are its size.
Inspection inspected(const Product& product, const DumpFile& dump, const InspectOptions& options = {});

/// Causes of the damage that is not harmless, each once, in their order.
std::vector<Cause> causes(const Inspection& inspection);

} // namespace perdure::returned
