// SPDX-License-Identifier: Apache-2.0
/// @file
/// Precompiled for rooms that know no JSON (PLUMBFOOT_FAST_BUILD). Nobody
/// includes it: every file includes what it uses, and builds without this.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <functional>
#include <limits>
#include <map>
#include <memory>
#include <numbers>
#include <optional>
#include <set>
#include <span>
#include <sstream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>
