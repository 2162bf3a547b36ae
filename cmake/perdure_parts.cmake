# perdure_part(name links...): the library perdure_<name> of every source in src/<name>/ that is neither a test nor a main.
# A folder without sources becomes a library of headers, so that its arrows hold from the first day.
function(perdure_part name)
    set(folder ${PROJECT_SOURCE_DIR}/src/${name})
    file(GLOB sources CONFIGURE_DEPENDS ${folder}/*.cpp)
    list(FILTER sources EXCLUDE REGEX "(_test|/main)\\.cpp$")
    set(target perdure_${name})
    if(sources)
        add_library(${target} STATIC ${sources})
        set(reach PUBLIC)
    else()
        add_library(${target} INTERFACE)
        set(reach INTERFACE)
    endif()
    target_include_directories(${target} ${reach} ${PROJECT_SOURCE_DIR}/src)
    target_link_libraries(${target} ${reach} ${ARGN})
endfunction()

# perdure_embed(target folder extension): carries every folder/*.extension inside the target. The sources reach them through
# catalog/embedded.hpp; a change of a file, or a new one, is built in at the next build.
function(perdure_embed target folder extension)
    get_target_property(kind ${target} TYPE)
    if(kind STREQUAL "INTERFACE_LIBRARY")
        return()
    endif()
    file(GLOB files CONFIGURE_DEPENDS ${folder}/*.${extension})
    set(script ${PROJECT_SOURCE_DIR}/cmake/embed.cmake)
    set(output ${PROJECT_BINARY_DIR}/${target}_embedded.cpp)
    add_custom_command(OUTPUT ${output}
        COMMAND ${CMAKE_COMMAND} "-DFILES=${files}" -DOUTPUT=${output} -P ${script}
        DEPENDS ${files} ${script} COMMENT "Embedding ${folder}/*.${extension}" VERBATIM)
    target_sources(${target} PRIVATE ${output})
endfunction()
