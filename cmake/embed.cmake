# cmake -DFILES=a;b -DOUTPUT=x.cpp -DHEADER=catalog/embedded.hpp -DFUNCTION=embedded_file -P embed.cmake: writes the files as
# bytes of a C++ source.
set(arrays "")
set(cases "")
set(index 0)
foreach(file IN LISTS FILES)
    get_filename_component(name ${file} NAME)
    file(READ ${file} bytes HEX)
    string(REGEX REPLACE "([0-9a-f][0-9a-f])" "'\\\\x\\1'," bytes "${bytes}")
    string(APPEND arrays "constexpr char file_${index}[] = {${bytes}'\\0'};\n")
    string(APPEND cases "    if (file_name == \"${name}\") { return {file_${index}, sizeof file_${index} - 1}; }\n")
    math(EXPR index "${index} + 1")
endforeach()
file(WRITE ${OUTPUT}
"// Written by cmake/embed.cmake at build time.
#include \"${HEADER}\"

namespace perdure {
namespace {
${arrays}} // namespace

std::string_view ${FUNCTION}([[maybe_unused]] std::string_view file_name) {
${cases}    return {};
}

} // namespace perdure
")
