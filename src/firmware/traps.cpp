#include "firmware/traps.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "project/units.hpp"

namespace perdure {
namespace {

constexpr const char* not_known = "a time that is not known";

bool begins(const std::string& text, std::string_view with) {
    return text.rfind(with, 0) == 0;
}

/// " (from memory, check it)" behind a figure that has no document.
std::string doubt(const Device& part, std::string_view column) {
    return part.source_of(column).from_memory ? " (from memory: check it)" : "";
}

std::string about_rule(const Device& part) {
    const std::string& rule = part.program_rule;
    if (begins(rule, "ecc")) {
        return fmt::format("ECC{}: a unit that a power cut left half-programmed may fault when it is read (a bus "
                           "fault, an NMI or a flag). "
                           "{{p}}_port_read has to answer false then: have the handler note the fault and return, and "
                           "ask for the note.",
                           doubt(part, "program_once_ecc"));
    }
    if (rule == "no") {
        return fmt::format(
            "Program rule{}: bits may be programmed again, only away from blank. A torn unit reads as some "
            "bytes; the store's own check code finds it.",
            doubt(part, "program_once_ecc"));
    }
    if (rule.empty()) { return "How often a unit may be programmed between two erases is not known: look it up."; }
    return fmt::format("Program rule '{}'{}: once a unit between erases. The store keeps to that.", rule,
                       doubt(part, "program_once_ecc"));
}

std::string about_stall(const Device& part) {
    const std::string times = fmt::format("{} a unit, {} an erase", program_time_text(part), erase_time_text(part));
    const std::string known = doubt(part, "read_while_write");
    if (part.read_while_write == "stall") {
        return fmt::format(
            "Stall{}: nothing is read or run from flash while it programs or erases ({}). Interrupts come "
            "late by that, unless vectors and handlers are in RAM.",
            known, times);
    }
    if (part.read_while_write == "yes") {
        return fmt::format("Code runs on while flash programs or erases{} ({}).", known, times);
    }
    if (part.read_while_write.empty() || part.read_while_write == "unknown") {
        return fmt::format(
            "Whether code runs on while flash programs or erases is not known ({}): take it that nothing "
            "does.",
            times);
    }
    return fmt::format("Read while write is '{}'{}: what runs from the same part of the flash as the area stands still "
                       "meanwhile ({}). See where the area lies.",
                       part.read_while_write, known, times);
}

} // namespace

bool reads_flash_by_instruction(const Device& part) {
    return part.core == "AVR";
}

std::string erase_time_text(const Device& part) {
    if (!part.erase_ms_max.empty()) {
        return fmt::format("at most {}{}",
                           show_seconds(*std::max_element(part.erase_ms_max.begin(), part.erase_ms_max.end()) / 1e3),
                           doubt(part, "erase_ms_max"));
    }
    if (part.erase_ms_typ.empty()) { return not_known; }
    return fmt::format("typically {} (no maximum given)",
                       show_seconds(*std::max_element(part.erase_ms_typ.begin(), part.erase_ms_typ.end()) / 1e3));
}

std::string program_time_text(const Device& part) {
    if (part.program_us_max) {
        return fmt::format("at most {}{}", show_seconds(*part.program_us_max / 1e6), doubt(part, "program_us_max"));
    }
    return part.program_us_typ
               ? fmt::format("typically {} (no maximum given)", show_seconds(*part.program_us_typ / 1e6))
               : not_known;
}

std::vector<std::string> traps_of(const Device& part) {
    std::vector<std::string> out;
    out.push_back(about_rule(part));
    out.push_back(about_stall(part));
    out.emplace_back(
        "Code in RAM: where the part does not hold the processor by itself while its flash is busy, program and "
        "erase, and all that runs meanwhile, have to be in RAM.");
    out.emplace_back(
        "Interrupts: nothing may program or erase between here but this file, a bootloader and a debugger's "
        "loader included; where the unlock sequence is timed or the other code is in flash, keep interrupts out.");
    out.push_back(fmt::format("Watchdog: its period has to be longer than an erase ({}), or feed it while waiting.",
                              erase_time_text(part)));
    out.push_back(
        part.vdd_min_v
            ? fmt::format("Supply: programming needs {:g} V at least{}. Below that programs are weak and no software "
                          "mends it: answer false, or hold the part in reset there.",
                          *part.vdd_min_v, doubt(part, "vdd_min"))
            : "Supply: below what the data sheet asks for programming answer false, or hold the part in reset.");
    out.emplace_back(
        "Caches: what was cached or fetched in advance of a unit or block has to be made invalid after it is "
        "programmed or erased, else the store reads back what was there before.");
    out.push_back(
        fmt::format("Erased units have to read as {} bytes, without a fault{}. Where the part faults on them, ask "
                    "its blank check first and fill in those bytes.",
                    part.erased_value.empty() ? "blank" : part.erased_value, doubt(part, "erased_value")));
    return out;
}

} // namespace perdure
