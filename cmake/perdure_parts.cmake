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

# perdure_embed(target header function patterns...): carries every file that matches inside the target, by its name without the
# folder. The sources reach them through `function` of `header`; a change of a file, or a new one, is built in at the next build.
function(perdure_embed target header function)
    get_target_property(kind ${target} TYPE)
    if(kind STREQUAL "INTERFACE_LIBRARY")
        return()
    endif()
    file(GLOB files LIST_DIRECTORIES false CONFIGURE_DEPENDS ${ARGN})
    set(script ${PROJECT_SOURCE_DIR}/cmake/embed.cmake)
    set(output ${PROJECT_BINARY_DIR}/${target}_embedded.cpp)
    add_custom_command(OUTPUT ${output}
        COMMAND ${CMAKE_COMMAND} "-DFILES=${files}" -DOUTPUT=${output} -DHEADER=${header} -DFUNCTION=${function} -P ${script}
        DEPENDS ${files} ${script} COMMENT "Embedding files in ${target}" VERBATIM)
    target_sources(${target} PRIVATE ${output})
endfunction()
