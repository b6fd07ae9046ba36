"""What the public headers of compiled rooms may show: nothing that a user's compiler flags lay out in their own way,
and no function without its mark."""

import pathlib
import re

# The rooms whose functions stand in compiled libraries; the choice of the kernels' instruction set is theirs as well.
COMPILED = ("include/echosieve/motion/", "include/echosieve/io/", "include/echosieve/kernels/",
            "include/echosieve/core/instruction_set.hpp")
MARKS = ("ECHOSIEVE_API", "ECHOSIEVE_EXPORT")

INCLUDE = re.compile(r'^\s*#\s*include\s*["<]([^">]+)[">]', re.MULTILINE)
EIGEN = re.compile(r"^(?:unsupported/)?Eigen/")
NO_CODE = re.compile(r'//[^\n]*|/\*.*?\*/|"(?:[^"\\\n]|\\.)*"|^[ \t]*#(?:\\\n|[^\n])*', re.DOTALL | re.MULTILINE)
SCOPE = re.compile(r"\b(?:namespace|class|struct|union)\b(?![^<]*>)")
ACCESS = re.compile(r"\b(public|protected|private)\s*:(?!:)")


def compiled_headers(files):
    return sorted(path for path in files if path.startswith(COMPILED) and path.endswith(".hpp"))


def way_to_eigen(files, path, seen):
    """The headers from `path` to one of Eigen's, or nothing."""
    seen.add(path)
    for name in INCLUDE.findall(files[path]):
        if EIGEN.match(name):
            return [path, name]
        target = f"include/{name}"
        if target in files and target not in seen:
            found = way_to_eigen(files, target, seen)
            if found:
                return [path, *found]
    return []


def declarations(text):
    """What is declared at namespace scope or publicly in a class, and has no body there."""
    code = NO_CODE.sub(" ", text)
    hidden = [False]  # of each open scope: whether what comes next is private
    statement = ""
    position = 0
    while position < len(code):
        character = code[position]
        if character == "{":
            head = re.sub(r"template\s*<.*?>", "", statement)
            if SCOPE.search(head) and "(" not in head:
                hidden.append(hidden[-1] or bool(re.search(r"\bclass\b", head)))
                statement = ""
            else:  # a function's body, or an initialiser
                depth = 1
                while depth > 0 and position + 1 < len(code):
                    position += 1
                    depth += {"{": 1, "}": -1}.get(code[position], 0)
                initialiser = re.search(r"=\s*$|\(\s*[^)]*$", statement) or re.match(r"\s*[,);]", code[position + 1:])
                statement = statement + "{}" if initialiser else ""
        elif character == "}":
            hidden.pop()
            statement = ""
        elif character == ";":
            if not hidden[-1]:
                yield " ".join(statement.split())
            statement = ""
        elif character == ":" and ACCESS.search(statement + character):
            hidden[-1] = ACCESS.search(statement + character).group(1) != "public"
            statement = ""
        else:
            statement += character
        position += 1


def is_function(statement):
    before = statement.split("(")[0]
    if "(" not in statement or ("=" in before and "operator" not in before):
        return False
    return not re.match(r"(?:static_assert|using|typedef|friend|template)\b", statement) \
        and not re.search(r"=\s*(?:default|delete)$", statement)


def check_border(files):
    for path in compiled_headers(files):
        way = way_to_eigen(files, path, set())
        if way:
            yield f"{path}: a compiled room's public header shows Eigen ({' -> '.join(way[1:])})"
        for statement in declarations(files[path]):
            if is_function(statement) and not any(mark in statement for mark in MARKS):
                yield f"{path}: without ECHOSIEVE_API no library shows it: {statement}"
