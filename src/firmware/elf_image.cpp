#include "firmware/elf_image.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <map>
#include <memory>
#include <optional>

#include <fcntl.h>
#include <gelf.h>
#include <unistd.h>

#include <fmt/format.h>

namespace perdure {
namespace {

/// An open ELF file; closed with it.
struct OpenElf {
    int file = -1;
    Elf* elf = nullptr;
    OpenElf() = default;
    OpenElf(const OpenElf&) = delete;
    OpenElf& operator=(const OpenElf&) = delete;
    ~OpenElf() {
        if (elf != nullptr) { elf_end(elf); }
        if (file >= 0) { close(file); }
    }
};

std::vector<GElf_Phdr> segments_of(Elf* elf) {
    size_t count = 0;
    std::vector<GElf_Phdr> out;
    if (elf_getphdrnum(elf, &count) != 0) { return out; }
    for (size_t i = 0; i < count; ++i) {
        GElf_Phdr header;
        if (gelf_getphdr(elf, static_cast<int>(i), &header) != nullptr && header.p_type == PT_LOAD &&
            header.p_filesz != 0) {
            out.push_back(header);
        }
    }
    return out;
}

/// Where the loader puts a section; nothing when no segment holds it.
std::optional<uint64_t> load_address(const GElf_Shdr& section, const std::vector<GElf_Phdr>& segments) {
    for (const GElf_Phdr& segment : segments) {
        const bool inside = section.sh_offset >= segment.p_offset &&
                            section.sh_offset - segment.p_offset <= segment.p_filesz &&
                            section.sh_size <= segment.p_filesz - (section.sh_offset - segment.p_offset);
        if (inside) { return segment.p_paddr + (section.sh_offset - segment.p_offset); }
    }
    return std::nullopt;
}

/// A loaded section by its number: its name, and how far its load address is from its address.
struct Loaded {
    std::string name;
    uint64_t shift = 0;
};

std::map<size_t, Loaded> read_sections(Elf* elf, const std::vector<GElf_Phdr>& segments, ElfImage& out) {
    std::map<size_t, Loaded> loaded;
    size_t names = 0;
    if (elf_getshdrstrndx(elf, &names) != 0) { return loaded; }
    Elf_Scn* section = nullptr;
    while ((section = elf_nextscn(elf, section)) != nullptr) {
        GElf_Shdr header;
        if (gelf_getshdr(section, &header) == nullptr || (header.sh_flags & SHF_ALLOC) == 0 ||
            header.sh_type == SHT_NOBITS || header.sh_size == 0) {
            continue;
        }
        const std::optional<uint64_t> begin = load_address(header, segments);
        if (!begin) { continue; }
        const char* name = elf_strptr(elf, names, header.sh_name);
        out.pieces.push_back({name == nullptr ? "?" : name, *begin, header.sh_size});
        loaded[elf_ndxscn(section)] = {out.pieces.back().name, *begin - header.sh_addr};
    }
    return loaded;
}

void read_symbols(Elf* elf, bool arm, const std::map<size_t, Loaded>& loaded, ElfImage& out) {
    Elf_Scn* section = nullptr;
    while ((section = elf_nextscn(elf, section)) != nullptr) {
        GElf_Shdr header;
        if (gelf_getshdr(section, &header) == nullptr || header.sh_type != SHT_SYMTAB || header.sh_entsize == 0) {
            continue;
        }
        Elf_Data* data = elf_getdata(section, nullptr);
        if (data == nullptr) { continue; }
        const size_t count = header.sh_size / header.sh_entsize;
        for (size_t i = 0; i < count; ++i) {
            GElf_Sym symbol;
            if (gelf_getsym(data, static_cast<int>(i), &symbol) == nullptr) { continue; }
            const char* name = elf_strptr(elf, header.sh_link, symbol.st_name);
            if (name == nullptr || *name == '\0' || *name == '$') { continue; } // '$': the compiler's marks
            if (symbol.st_shndx == SHN_ABS) {
                out.absolute.push_back({name, "", symbol.st_value, 0});
                continue;
            }
            const auto held = loaded.find(symbol.st_shndx);
            const auto type = GELF_ST_TYPE(symbol.st_info);
            if (held == loaded.end() || (type != STT_FUNC && type != STT_OBJECT && type != STT_NOTYPE)) { continue; }
            // On Arm the lowest bit of a function's address says that it is Thumb code.
            const uint64_t at = arm && type == STT_FUNC ? symbol.st_value & ~uint64_t{1} : symbol.st_value;
            out.symbols.push_back({name, held->second.name, at + held->second.shift, symbol.st_size});
        }
    }
}

} // namespace

tl::expected<ElfImage, std::string> read_elf(const std::string& path) {
    OpenElf open_elf;
    if (elf_version(EV_CURRENT) == EV_NONE) { return tl::unexpected(std::string("libelf is of another version")); }
    open_elf.file = open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (open_elf.file < 0) { return tl::unexpected(fmt::format("{}: {}", path, std::strerror(errno))); }
    open_elf.elf = elf_begin(open_elf.file, ELF_C_READ, nullptr);
    GElf_Ehdr header;
    if (open_elf.elf == nullptr || elf_kind(open_elf.elf) != ELF_K_ELF ||
        gelf_getehdr(open_elf.elf, &header) == nullptr) {
        return tl::unexpected(
            fmt::format("{} is no ELF file; give what the linker put out, not a HEX or binary file", path));
    }
    ElfImage out;
    out.machine = {header.e_machine, gelf_getclass(open_elf.elf) == ELFCLASS64};
    const std::vector<GElf_Phdr> segments = segments_of(open_elf.elf);
    if (segments.empty()) {
        return tl::unexpected(
            fmt::format("{} has no segment to load; give the linked program, not an object file", path));
    }
    const std::map<size_t, Loaded> loaded = read_sections(open_elf.elf, segments, out);
    read_symbols(open_elf.elf, header.e_machine == EM_ARM, loaded, out);
    if (out.pieces.empty()) {
        for (size_t i = 0; i < segments.size(); ++i) {
            out.pieces.push_back({fmt::format("segment {}", i), segments[i].p_paddr, segments[i].p_filesz});
        }
    }
    const auto by_address = [](const auto& a, const auto& b) { return a.begin < b.begin; };
    std::stable_sort(out.pieces.begin(), out.pieces.end(), by_address);
    std::stable_sort(out.symbols.begin(), out.symbols.end(), by_address);
    return out;
}

} // namespace perdure
