# cmake --install, and `cpack` for a Debian package: the program, its manual page, the completion of its command line, and
# find_package(Perdure) for firmware that is built with CMake. The program carries what it writes; it needs no checkout.
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)

install(TARGETS perdure RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})

# From the one table of commands.
foreach(form manual completion)
    set(file_${form} ${PROJECT_BINARY_DIR}/perdure.${form})
    add_custom_command(OUTPUT ${file_${form}} COMMAND perdure --${form} > ${file_${form}} DEPENDS perdure VERBATIM)
endforeach()
add_custom_target(perdure_manual ALL DEPENDS ${file_manual} ${file_completion})
install(FILES ${file_manual} DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 RENAME perdure.1)
install(FILES ${file_completion} DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME perdure)

write_basic_package_version_file(${PROJECT_BINARY_DIR}/PerdureConfigVersion.cmake COMPATIBILITY SameMinorVersion
    ARCH_INDEPENDENT)
install(FILES ${PROJECT_SOURCE_DIR}/cmake/PerdureConfig.cmake ${PROJECT_BINARY_DIR}/PerdureConfigVersion.cmake
    DESTINATION lib/cmake/Perdure)
install(FILES README.md docs/guide.md docs/messages.md docs/project-file.md docs/firmware.md docs/page.md docs/upgrade.md docs/bench.md docs/trust.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(DIRECTORY examples DESTINATION ${CMAKE_INSTALL_DOCDIR})

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME perdure)
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "data kept for life in a microcontroller's own flash")
set(CPACK_PACKAGE_DESCRIPTION "Says from a project file whether a part's flash stands the product's life, writes the C sources that keep its
records there, and proves them against power cuts on a simulated flash.")
set(CPACK_PACKAGE_CONTACT "The Perdure authors <perdure@localhost>")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_DEBIAN_PACKAGE_SECTION devel)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_SUGGESTS "gcc-arm-none-eabi, picolibc-arm-none-eabi, qemu-system-arm")
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_STRIP_FILES ON)
include(CPack)
