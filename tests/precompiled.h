// SPDX-License-Identifier: Apache-2.0
/// @file
/// Precompiled for tests, as those in src/precompiled for the rooms. Nobody
/// includes it.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "precompiled/json.h"
