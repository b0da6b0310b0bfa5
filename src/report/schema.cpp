// SPDX-License-Identifier: Apache-2.0
#include "report/schema.h"

#include <fmt/core.h>

#include <cmath>
#include <optional>
#include <string>
#include <valijson/adapters/nlohmann_json_adapter.hpp>
#include <valijson/schema.hpp>
#include <valijson/schema_parser.hpp>
#include <valijson/validation_results.hpp>
#include <valijson/validator.hpp>

namespace plumbfoot::report {
namespace {

using nlohmann::json;

/// The JSON pointer of the first number that isn't finite, if any: a validator
/// takes NaN for a number, and a file can't hold it.
std::optional<std::string> FindNotFinite(const json& value,
                                         const json::json_pointer& at) {
  if (value.is_number_float() && !std::isfinite(value.get<double>())) {
    return at.to_string();
  }
  // Not by flatten(), which copies the whole document.
  if (value.is_object()) {
    for (const auto& [key, member] : value.items()) {
      if (!member.is_structured() && !member.is_number_float()) continue;
      if (auto found = FindNotFinite(member, at / key)) return found;
    }
  } else if (value.is_array()) {
    for (std::size_t i = 0; i < value.size(); ++i) {
      if (auto found = FindNotFinite(value[i], at / i)) return found;
    }
  }
  return std::nullopt;
}

}  // namespace

Result<Done> Validate(const json& document,
                      std::string_view schema_text,
                      std::string_view what) {
  const auto not_ours = [&what](const std::string& where) {
    return Refusal{
        RefusalCode::kNotOurFormat,
        fmt::format("This is not a Plumbfoot {}: {}.", what, where),
        fmt::format("Use a {}.json that Plumbfoot has written.", what)};
  };
  if (const auto at = FindNotFinite(document, json::json_pointer())) {
    return not_ours("the number at " + *at + " is not finite");
  }
  const json schema_json = json::parse(schema_text);
  valijson::Schema schema;
  valijson::SchemaParser(valijson::SchemaParser::kDraft7)
      .populateSchema(valijson::adapters::NlohmannJsonAdapter(schema_json),
                      schema);
  valijson::ValidationResults results;
  valijson::Validator validator;
  if (validator.validate(schema,
                         valijson::adapters::NlohmannJsonAdapter(document),
                         &results)) {
    return Done{};
  }
  valijson::ValidationResults::Error first;
  if (!results.popError(first)) return not_ours("it breaks the schema");
  std::string where;
  for (const std::string& step : first.context) where += step;
  return not_ours(where + ": " + first.description);
}

double RoundedForFile(double value) {
  const double rounded = std::round(value * 1e6) / 1e6;
  return rounded == 0 ? 0.0 : rounded;
}

}  // namespace plumbfoot::report
