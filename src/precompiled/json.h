// SPDX-License-Identifier: Apache-2.0
/// @file
/// Precompiled for rooms that know JSON (PLUMBFOOT_FAST_BUILD). Nobody includes
/// it: every file includes what it uses, and builds without this.
///
/// What is behind json::parse and json::dump is compiled once, in json.cpp, and
/// not in each file that calls them: with sanitizers those are some 4 s a file.
#pragma once

#include <Eigen/Core>
#include <nlohmann/json.hpp>
#include <opencv2/core/mat.hpp>

#include "precompiled/plain.h"

namespace plumbfoot::precompiled {
using Json = nlohmann::json;
using DomParser = nlohmann::detail::json_sax_dom_parser<Json>;
using FromString =
    nlohmann::detail::iterator_input_adapter<std::string::const_iterator>;
using FromView = nlohmann::detail::iterator_input_adapter<const char*>;
}  // namespace plumbfoot::precompiled

// With `extern` it says that json.cpp has them, without it compiles them.
#define PLUMBFOOT_JSON_PARTS(EXTERN)                                \
  EXTERN template class nlohmann::basic_json<>;                     \
  EXTERN template class nlohmann::detail::serializer<               \
      plumbfoot::precompiled::Json>;                                \
  EXTERN template class nlohmann::detail::json_sax_dom_parser<      \
      plumbfoot::precompiled::Json>;                                \
  PLUMBFOOT_JSON_READER(EXTERN, plumbfoot::precompiled::FromString) \
  PLUMBFOOT_JSON_READER(EXTERN, plumbfoot::precompiled::FromView)
#define PLUMBFOOT_JSON_READER(EXTERN, INPUT)                                   \
  EXTERN template class nlohmann::detail::lexer<plumbfoot::precompiled::Json,  \
                                                INPUT>;                        \
  EXTERN template class nlohmann::detail::parser<plumbfoot::precompiled::Json, \
                                                 INPUT>;                       \
  EXTERN template bool nlohmann::detail::                                      \
      parser<plumbfoot::precompiled::Json, INPUT>::sax_parse_internal(         \
          plumbfoot::precompiled::DomParser*);

PLUMBFOOT_JSON_PARTS(extern)
