# What `cmake --install` puts in place: the program, its manual page, the shells' completions, the documents.
# The page and the completions are written by the program itself, so they cannot lag behind it.
include(GNUInstallDirs)

function(railtap_reference kind file)
  add_custom_command(OUTPUT ${CMAKE_BINARY_DIR}/reference/${file}
    COMMAND ${CMAKE_COMMAND} -E make_directory ${CMAKE_BINARY_DIR}/reference
    COMMAND railtap reference ${kind} > ${CMAKE_BINARY_DIR}/reference/${file}
    DEPENDS railtap VERBATIM)
endfunction()
railtap_reference(man railtap.1)
railtap_reference(bash railtap)
railtap_reference(zsh _railtap)
railtap_reference(fish railtap.fish)
set(pages ${CMAKE_BINARY_DIR}/reference)
add_custom_target(reference ALL
  DEPENDS ${pages}/railtap.1 ${pages}/railtap ${pages}/_railtap ${pages}/railtap.fish)

install(TARGETS railtap RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
install(FILES ${pages}/railtap.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES ${pages}/railtap DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions)
install(FILES ${pages}/_railtap DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/site-functions)
install(FILES ${pages}/railtap.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)
install(FILES ${PROJECT_SOURCE_DIR}/README.md ${PROJECT_SOURCE_DIR}/LICENSE
        DESTINATION ${CMAKE_INSTALL_DOCDIR} OPTIONAL)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/docs/ DESTINATION ${CMAKE_INSTALL_DOCDIR} OPTIONAL)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/testsignals DESTINATION ${CMAKE_INSTALL_DATADIR}/railtap OPTIONAL)

# `cpack` in the build folder makes a Debian package; what it depends on is read from the program.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_CONTACT "The railtap contributors <railtap@localhost>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "${PROJECT_DESCRIPTION}")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
include(CPack)
