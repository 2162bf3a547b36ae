// A project's firmware as the values that the templates name.
#pragma once

#include <kainjow/mustache.hpp>

#include "firmware/firmware.hpp"

namespace perdure {

/// Everything that templates/*.mustache ask for.
kainjow::mustache::data template_values(const Project& project, const FirmwarePlan& plan, const EmitOptions& options);

} // namespace perdure
