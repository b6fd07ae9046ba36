// Visits the members of structs of options by name, all of them or it does not compile.
#pragma once

#include <cstddef>
#include <string>
#include <tuple>
#include <type_traits>
#include <utility>

namespace examples {

/// A member and its name.
template <class T, class Value>
struct OptionField {
    const char* name;
    Value T::*member;
};

// clang 16 has none of its own for aggregates.
template <class T, class Value>
OptionField(const char*, Value T::*) -> OptionField<T, Value>;

/// Has a `list` of all members of T, a struct of options; that it is all of them, visit_options
/// makes sure of.
template <class T>
struct OptionFields {};

template <class T>
concept OptionStruct = requires { OptionFields<T>::list; };

namespace detail {

struct Anything {
    template <class T>
    operator T() const;  // never called: only what could be initialised counts
};

}  // namespace detail

/// How many members an aggregate has: the most values that braces take.
template <class T, class... Given>
[[nodiscard]] consteval std::size_t member_count() {
    if constexpr (requires { T{Given{}..., detail::Anything{}}; }) {
        return member_count<T, Given..., detail::Anything>();
    } else {
        return sizeof...(Given);
    }
}

/// Calls visit(name, value) for every option, those of structs inside as "outer.inner"; does not
/// compile if a struct has members that its list lacks.
template <class T, class Visit>
void visit_options(T& options, const Visit& visit, const std::string& prefix = {}) {
    using Options = std::remove_const_t<T>;
    static_assert(
        std::tuple_size_v<decltype(OptionFields<Options>::list)> == member_count<Options>(),
        "every member has its place in the list");
    const auto one = [&](const auto& field) {
        auto& value = options.*field.member;
        const std::string name = prefix + field.name;
        if constexpr (OptionStruct<std::remove_cvref_t<decltype(value)>>) {
            visit_options(value, visit, name + '.');
        } else {
            visit(name, value);
        }
    };
    std::apply([&](const auto&... field) { (one(field), ...); }, OptionFields<Options>::list);
}

}  // namespace examples
