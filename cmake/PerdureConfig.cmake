# find_package(Perdure) gives the imported program perdure::perdure and the function perdure_add_store.

if(NOT TARGET perdure::perdure)
    find_program(PERDURE_PROGRAM perdure HINTS ${CMAKE_CURRENT_LIST_DIR}/../../../bin NO_CMAKE_FIND_ROOT_PATH
        DOC "The program perdure, which writes the sources of a store")
    if(NOT PERDURE_PROGRAM)
        set(Perdure_FOUND FALSE)
        set(Perdure_NOT_FOUND_MESSAGE "the program perdure is not there; set PERDURE_PROGRAM")
        return()
    endif()
    add_executable(perdure::perdure IMPORTED)
    set_target_properties(perdure::perdure PROPERTIES IMPORTED_LOCATION ${PERDURE_PROGRAM})
endif()

# perdure_add_store(target FILE PORT port.c | RAM_PORT [GUARD] [PREFIX name])
#
# Adds the data that the project file FILE describes to the firmware `target`: its sources are written at build time, anew
# whenever FILE or the program changes, into the build folder. #include "data.h" then gives the calls.
#   PORT      the part's flash: what `perdure emit` writes once as data_port.c, filled in. It stays among your sources.
#   RAM_PORT  the emitted flash in RAM instead, for a board without its driver
#   GUARD     with the watch over wear and daily writes, data_guard.h
#   PREFIX    what every name and file begins with (default data)
# The build ends where FILE is wrong or a requirement in it does not hold.
function(perdure_add_store target file)
    cmake_parse_arguments(PARSE_ARGV 2 arg "RAM_PORT;GUARD" "PORT;PREFIX" "")
    if(arg_UNPARSED_ARGUMENTS OR arg_KEYWORDS_MISSING_VALUES)
        message(FATAL_ERROR "perdure_add_store: what is meant by: ${arg_UNPARSED_ARGUMENTS} ${arg_KEYWORDS_MISSING_VALUES}")
    endif()
    if(NOT TARGET ${target})
        message(FATAL_ERROR "perdure_add_store: no target ${target}; call add_executable or add_library before")
    endif()
    cmake_path(ABSOLUTE_PATH file)
    if(NOT EXISTS ${file})
        message(FATAL_ERROR "perdure_add_store: no project file ${file}")
    endif()
    if(NOT arg_PREFIX)
        set(arg_PREFIX data)
    endif()
    set(folder ${CMAKE_CURRENT_BINARY_DIR}/${target}_${arg_PREFIX})
    if(arg_RAM_PORT AND NOT arg_PORT)
        set(port ${folder}/host/ram_port.c)
    elseif(arg_PORT AND NOT arg_RAM_PORT)
        cmake_path(ABSOLUTE_PATH arg_PORT OUTPUT_VARIABLE port)
        if(NOT EXISTS ${port})
            message(FATAL_ERROR "perdure_add_store: no file ${port}. Once, run\n"
                "  perdure emit ${file} FOLDER\nand copy FOLDER/${arg_PREFIX}_port.c there; it says what to fill in")
        endif()
    else()
        message(FATAL_ERROR "perdure_add_store: PORT and the file with the part's flash, or RAM_PORT")
    endif()
    set(outputs ${folder}/perdure_features.h ${folder}/${arg_PREFIX}.h ${folder}/${arg_PREFIX}.c ${folder}/${arg_PREFIX}_guard.h ${folder}/${arg_PREFIX}_guard.c
        ${folder}/store/store.h ${folder}/store/store.c ${folder}/store/port.h ${folder}/host/ram_port.h ${folder}/host/ram_port.c)
    add_custom_command(OUTPUT ${folder}/emitted.stamp
        BYPRODUCTS ${outputs}
        COMMAND perdure::perdure emit ${file} ${folder} --prefix ${arg_PREFIX}
        COMMAND ${CMAKE_COMMAND} -E touch ${folder}/emitted.stamp
        DEPENDS ${file} perdure::perdure
        COMMENT "Writing the store of ${file}" VERBATIM)
    target_sources(${target} PRIVATE ${folder}/emitted.stamp ${folder}/${arg_PREFIX}.c ${folder}/store/store.c ${port})
    if(arg_GUARD)
        target_sources(${target} PRIVATE ${folder}/${arg_PREFIX}_guard.c)
    endif()
    set_source_files_properties(${outputs} PROPERTIES GENERATED TRUE)
    add_custom_target(${target}_${arg_PREFIX}_emitted DEPENDS ${folder}/emitted.stamp)
    add_dependencies(${target} ${target}_${arg_PREFIX}_emitted)
    target_include_directories(${target} PRIVATE ${folder})
    target_compile_definitions(${target} PRIVATE PERDURE_FEATURES)
endfunction()
