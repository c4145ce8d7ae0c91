// Holds a JSON value against a schema of an OpenAPI 3.1 document: the part of JSON Schema 2020-12 that openapi.json
// uses. Included by tests only. A keyword that it does not know is an error, so that nothing is passed over.
#pragma once

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <set>
#include <string>

namespace eyelet {

class SchemaChecker {
  public:
    explicit SchemaChecker(const nlohmann::json& document) : document_(document) {}

    // Empty where the value is as described, else where and what is wrong.
    [[nodiscard]] std::string check(const nlohmann::json& value, const nlohmann::json& schema, const std::string& at = "$") const {
        static const std::set<std::string> known{"$ref", "type", "enum", "const", "properties", "required", "items", "oneOf",
                                                 "additionalProperties", "minItems", "maxItems", "minimum", "description",
                                                 "default", "contentEncoding", "contentMediaType"};
        for (const auto& [key, ignored] : schema.items()) {
            if (!known.contains(key)) return fmt::format("{}: the checker does not know \"{}\"", at, key);
        }
        if (schema.contains("$ref")) {
            const std::string target = schema["$ref"].get<std::string>().substr(1);
            return check(value, document_.at(nlohmann::json::json_pointer(target)), at);
        }
        if (schema.contains("oneOf")) {
            int fitting = 0;
            std::string last;
            for (const auto& one : schema["oneOf"]) {
                last = check(value, one, at);
                fitting += last.empty() ? 1 : 0;
            }
            return fitting == 1 ? "" : fmt::format("{}: fits {} of the forms ({})", at, fitting, last);
        }
        if (schema.contains("type") && !has_type(value, schema["type"])) {
            return fmt::format("{}: {} is not {}", at, value.dump().substr(0, 60), schema["type"].dump());
        }
        if (schema.contains("enum") && std::find(schema["enum"].begin(), schema["enum"].end(), value) == schema["enum"].end()) {
            return fmt::format("{}: {} is not in {}", at, value.dump(), schema["enum"].dump());
        }
        if (schema.contains("const") && schema["const"] != value) return fmt::format("{}: not {}", at, schema["const"].dump());
        if (schema.contains("minimum") && value.is_number() && value < schema["minimum"]) return at + ": below the minimum";
        if (value.is_object()) return check_object(value, schema, at);
        if (value.is_array()) {
            if (schema.contains("minItems") && value.size() < schema["minItems"]) return at + ": too few";
            if (schema.contains("maxItems") && value.size() > schema["maxItems"]) return at + ": too many";
            if (schema.contains("items")) {
                for (std::size_t i = 0; i < value.size(); ++i) {
                    if (std::string wrong = check(value[i], schema["items"], fmt::format("{}[{}]", at, i)); !wrong.empty()) return wrong;
                }
            }
        }
        return "";
    }

  private:
    [[nodiscard]] static bool has_type(const nlohmann::json& value, const nlohmann::json& type) {
        if (type.is_array()) {
            return std::any_of(type.begin(), type.end(), [&](const nlohmann::json& one) { return has_type(value, one); });
        }
        if (type == "object") return value.is_object();
        if (type == "array") return value.is_array();
        if (type == "string") return value.is_string();
        if (type == "number") return value.is_number();
        if (type == "integer") return value.is_number_integer();
        if (type == "boolean") return value.is_boolean();
        return type == "null" && value.is_null();
    }

    // Members that are described nowhere are refused too: the document must not lag behind the server.
    [[nodiscard]] std::string check_object(const nlohmann::json& value, const nlohmann::json& schema, const std::string& at) const {
        if (schema.contains("required")) {
            for (const auto& name : schema["required"]) {
                if (!value.contains(name.get<std::string>())) return fmt::format("{}: {} is missing", at, name.dump());
            }
        }
        if (!schema.contains("properties")) return "";
        for (const auto& [name, member] : value.items()) {
            if (!schema["properties"].contains(name)) return fmt::format("{}: \"{}\" is not described", at, name);
            if (std::string wrong = check(member, schema["properties"][name], at + "." + name); !wrong.empty()) return wrong;
        }
        return "";
    }

    const nlohmann::json& document_;
};

}  // namespace eyelet
