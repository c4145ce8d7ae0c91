# Builds the page (web/dist, made by `npm run build`) and the OpenAPI document into the server's library. Where
# the page is not built yet, the server says so; configure or build again after building it.
function(eyelet_embed_page)
  file(GLOB_RECURSE page CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/web/dist/*)
  set(openapi ${CMAKE_SOURCE_DIR}/src/eyelet/server/openapi.json)
  set(output ${CMAKE_BINARY_DIR}/generated/web_files_table.cpp)
  file(MAKE_DIRECTORY ${CMAKE_BINARY_DIR}/generated)
  add_custom_command(
    OUTPUT ${output}
    COMMAND ${CMAKE_COMMAND} -DFOLDER=${CMAKE_SOURCE_DIR}/web/dist -DEXTRA=${openapi} -DOUTPUT=${output}
            -P ${CMAKE_SOURCE_DIR}/cmake/embed_files.cmake
    DEPENDS ${page} ${openapi} ${CMAKE_SOURCE_DIR}/cmake/embed_files.cmake
    COMMENT "Building the page into the program" VERBATIM)
  target_sources(eyelet_server PRIVATE ${output})
  # Debian builds cpp-httplib with these; the class layout depends on the first.
  target_compile_definitions(eyelet_server PRIVATE CPPHTTPLIB_OPENSSL_SUPPORT EYELET_VERSION="${PROJECT_VERSION}")
  if(TARGET eyelet_server_tests)
    target_compile_definitions(eyelet_server_tests PRIVATE CPPHTTPLIB_OPENSSL_SUPPORT)
  endif()
endfunction()
