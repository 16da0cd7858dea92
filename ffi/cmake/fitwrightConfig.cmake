# find_package(fitwright 1) gives fitwright::fitwright (shared) and fitwright::fitwright_static.
# Lies in <prefix>/lib/cmake/fitwright.
get_filename_component(_fitwright_prefix "${CMAKE_CURRENT_LIST_DIR}/../../.." ABSOLUTE)
include(CMakeFindDependencyMacro)
find_dependency(Threads)

if(NOT TARGET fitwright::fitwright)
  find_library(_fitwright_shared NAMES fitwright PATHS "${_fitwright_prefix}/lib" NO_DEFAULT_PATH)
  add_library(fitwright::fitwright SHARED IMPORTED)
  set_target_properties(fitwright::fitwright PROPERTIES
    IMPORTED_LOCATION "${_fitwright_shared}"
    INTERFACE_INCLUDE_DIRECTORIES "${_fitwright_prefix}/include")
endif()

if(NOT TARGET fitwright::fitwright_static AND EXISTS "${_fitwright_prefix}/lib/libfitwright.a")
  add_library(fitwright::fitwright_static STATIC IMPORTED)
  set_target_properties(fitwright::fitwright_static PROPERTIES
    IMPORTED_LOCATION "${_fitwright_prefix}/lib/libfitwright.a"
    INTERFACE_INCLUDE_DIRECTORIES "${_fitwright_prefix}/include"
    INTERFACE_LINK_LIBRARIES "Threads::Threads;${CMAKE_DL_LIBS};m")
endif()
