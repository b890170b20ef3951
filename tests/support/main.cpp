// SPDX-License-Identifier: MIT
// The test runner's entry point.
#define DOCTEST_CONFIG_IMPLEMENT_WITH_MAIN
#include <doctest/doctest.h>
