# The page: page/ built by npm and vite into self-contained HTML files, which the program carries. Built anew only when a
# file of page/ changes. Where npm is not found (AUTO), or with PERDURE_PAGE=OFF, the program is built without, and its
# commands report and open say so.
find_program(NPM npm)
find_program(NODE NAMES node nodejs)
set(PERDURE_PAGE AUTO CACHE STRING "Build the page, which needs npm and a package registry: ON, OFF or AUTO")
set(page_wanted ${PERDURE_PAGE})
if(PERDURE_PAGE STREQUAL "AUTO")
    set(page_wanted OFF)
    if(NPM AND NODE)
        set(page_wanted ON)
    endif()
endif()

set(page_built "")
if(page_wanted)
    set(page_folder ${PROJECT_SOURCE_DIR}/page)
    set(page_stamp ${page_folder}/node_modules/.perdure)
    file(GLOB_RECURSE page_sources CONFIGURE_DEPENDS ${page_folder}/src/* ${page_folder}/*.html ${page_folder}/*.js
        ${page_folder}/tsconfig.json)
    list(APPEND page_sources ${PROJECT_SOURCE_DIR}/docs/project-file.md) # whose tables the editor reads
    list(FILTER page_sources EXCLUDE REGEX "/node_modules/")
    add_custom_command(OUTPUT ${page_stamp}
        COMMAND ${NPM} ci --ignore-scripts --no-audit --no-fund --loglevel=error
        COMMAND ${CMAKE_COMMAND} -E touch ${page_stamp}
        WORKING_DIRECTORY ${page_folder}
        DEPENDS ${page_folder}/package.json ${page_folder}/package-lock.json
        COMMENT "Fetching what the page is built with (-DPERDURE_PAGE=OFF builds without it)" VERBATIM)
    set(page_built ${PROJECT_BINARY_DIR}/page/report.html ${PROJECT_BINARY_DIR}/page/live.html)
    add_custom_command(OUTPUT ${page_built}
        COMMAND ${NODE} build.js ${PROJECT_BINARY_DIR}/page
        WORKING_DIRECTORY ${page_folder}
        DEPENDS ${page_sources} ${page_stamp}
        COMMENT "Building the page" VERBATIM)
endif()

set(page_script ${PROJECT_SOURCE_DIR}/cmake/embed.cmake)
set(page_source ${PROJECT_BINARY_DIR}/perdure_page_embedded.cpp)
add_custom_command(OUTPUT ${page_source}
    COMMAND ${CMAKE_COMMAND} "-DFILES=${page_built}" -DOUTPUT=${page_source} -DHEADER=dossier/report.hpp
        -DFUNCTION=embedded_page -P ${page_script}
    DEPENDS ${page_built} ${page_script} COMMENT "Embedding the page" VERBATIM)
target_sources(perdure_dossier PRIVATE ${page_source})
