# Two test programs: perdure_tests (label quick) of every *_test.cpp in src/ and tests/, and perdure_slow_tests (label slow) of every
# *_slow_test.cpp. What else stands in tests/ is shared by both. tests/target/ is firmware with a build of its own.
find_package(GTest REQUIRED)
find_package(rapidcheck REQUIRED)
include(GoogleTest)

file(GLOB_RECURSE test_files CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/src/*_test.cpp ${PROJECT_SOURCE_DIR}/tests/*.cpp)
list(FILTER test_files EXCLUDE REGEX "/tests/target/|/main\\.cpp$|_fuzz\\.cpp$")
set(slow_files ${test_files})
list(FILTER slow_files INCLUDE REGEX "_slow_test\\.cpp$")
set(quick_files ${test_files})
list(FILTER quick_files INCLUDE REGEX "_test\\.cpp$")
list(FILTER quick_files EXCLUDE REGEX "_slow_test\\.cpp$")
set(shared_files ${test_files})
list(FILTER shared_files EXCLUDE REGEX "_test\\.cpp$")

set(test_links perdure_cli perdure_cut_log perdure_upgrade perdure_web perdure_steps perdure_dossier perdure_choose perdure_firmware perdure_image perdure_fleet perdure_inspect perdure_hex perdure_cuts perdure_dump perdure_life perdure_unit perdure_budget perdure_project perdure_catalog perdure_physics perdure_flash perdure_store
    fmt::fmt nlohmann_json::nlohmann_json Boost::headers)

# Only one source knows where the tree lies: all other objects are the same in every clone, for a compiler cache.
set_source_files_properties(${PROJECT_SOURCE_DIR}/tests/paths.cpp PROPERTIES COMPILE_DEFINITIONS
    "PERDURE_SOURCE_DIR=\"${PROJECT_SOURCE_DIR}\";PERDURE_BINARY_DIR=\"${PROJECT_BINARY_DIR}\";PERDURE_PROGRAM=\"$<TARGET_FILE:perdure>\";PERDURE_FAULTY_PROGRAM=\"$<TARGET_FILE:perdure_with_fault>\"")

# perdure_test_target(target links...)
function(perdure_test_target target)
    target_link_libraries(${target} PRIVATE ${test_links} ${ARGN})
endfunction()

if(shared_files)
    add_library(perdure_test_support OBJECT ${shared_files})
    perdure_test_target(perdure_test_support rapidcheck rapidcheck_gtest GTest::gtest)
    set(shared_objects $<TARGET_OBJECTS:perdure_test_support>)
endif()

# perdure_test_program(target label timeout_s sources...): one program, each of its tests known to CTest by name.
function(perdure_test_program target label timeout_s)
    if(NOT ARGN)
        return()
    endif()
    add_executable(${target} ${ARGN} ${shared_objects})
    add_dependencies(${target} perdure perdure_manual perdure_with_fault)
    perdure_test_target(${target} rapidcheck rapidcheck_gtest GTest::gtest_main)
    gtest_discover_tests(${target} DISCOVERY_MODE PRE_TEST DISCOVERY_TIMEOUT 300 WORKING_DIRECTORY ${PROJECT_SOURCE_DIR}
        PROPERTIES LABELS ${label} TIMEOUT ${timeout_s})
endfunction()

perdure_test_program(perdure_tests quick 600 ${quick_files})
if(CMAKE_BUILD_TYPE STREQUAL "Release")
    target_compile_options(perdure_tests PRIVATE -O1) # what is tested takes the time, not the tests; they compile a quarter faster
endif()
perdure_test_program(perdure_slow_tests slow 7200 ${slow_files})

# tests/<name>/main.cpp, where there is one, is a program to replay single cases by hand: <build>/perdure_<name>.
file(GLOB mains CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/tests/*/main.cpp)
list(FILTER mains EXCLUDE REGEX "/tests/(target|faults)/")
foreach(main IN LISTS mains)
    cmake_path(GET main PARENT_PATH folder)
    cmake_path(GET folder FILENAME name)
    add_executable(perdure_${name} ${main} $<TARGET_OBJECTS:perdure_test_support>)
    perdure_test_target(perdure_${name} GTest::gtest)
endforeach()

add_subdirectory(${PROJECT_SOURCE_DIR}/tests/adversary) # its canaries
add_subdirectory(${PROJECT_SOURCE_DIR}/tests/faults) # and those of the exhaustive search

# The page in a real browser; its screenshots, prints and figures are kept in <build>/browser.
find_program(CHROMIUM NAMES chromium chromium-browser)
if(page_wanted AND CHROMIUM)
    add_test(NAME Browser.FirstUse COMMAND ${NODE} ${PROJECT_SOURCE_DIR}/page/test/first_use.js $<TARGET_FILE:perdure>
        ${PROJECT_SOURCE_DIR}/examples ${PROJECT_BINARY_DIR}/browser)
    add_test(NAME Browser.Types COMMAND ${NPM} run --silent check WORKING_DIRECTORY ${PROJECT_SOURCE_DIR}/page)
    set_tests_properties(Browser.FirstUse Browser.Types PROPERTIES LABELS slow TIMEOUT 900)
    set_tests_properties(Browser.FirstUse PROPERTIES ENVIRONMENT "CHROMIUM=${CHROMIUM}")
else()
    message(STATUS "No Chromium, or no page: the page is not tested in a browser (./dev test installs both)")
endif()

# The store's coverage and its MISRA findings, as `./dev cover` and `./dev misra` have them; both work in build/.
find_program(CLANG_19 clang++-19)
find_program(CPPCHECK cppcheck)
if(CLANG_19 AND CPPCHECK AND PROJECT_BINARY_DIR STREQUAL "${PROJECT_SOURCE_DIR}/build")
    add_test(NAME Checked.Coverage COMMAND sh tools/cover.sh WORKING_DIRECTORY ${PROJECT_SOURCE_DIR})
    add_test(NAME Checked.Misra COMMAND python3 tools/misra.py WORKING_DIRECTORY ${PROJECT_SOURCE_DIR})
    set_tests_properties(Checked.Coverage Checked.Misra PROPERTIES LABELS slow TIMEOUT 900)
else()
    message(STATUS "No clang-19, or no cppcheck: the store's coverage and MISRA findings are not tested (./dev test installs both)")
endif()
