"""Tables, numbers with units and the order of the page that performance.py writes."""


def number(x):
    """To three digits, with k, M or G; nothing if there is none."""
    if x is None:
        return None
    for limit, unit in ((1e9, " G"), (1e6, " M"), (1e3, " k")):
        if abs(x) >= limit:
            return f"{x / limit:.3g}{unit}"
    return f"{x:.3g}"


def seconds(x):
    """A time with the unit that suits it; nothing if there is none."""
    if x is None:
        return None
    for limit, unit in ((1, "s"), (1e-3, "ms"), (1e-6, "µs")):
        if x >= limit:
            return f"{x / limit:.3g} {unit}"
    return f"{x * 1e9:.3g} ns"


def table(heads, rows):
    """Lines of a Markdown table; a missing cell says that it was not measured."""
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    for row in rows:
        lines.append("| " + " | ".join("not measured" if cell is None else str(cell) for cell in row) + " |")
    return lines


class Report:
    """A page, section by section, with the aims it met and missed at its top."""

    def __init__(self, title, script):
        self.title = title
        self.script = script
        self.lines = []
        self.aims = []

    def heading(self, text, level=2):
        self.lines += ["#" * level + " " + text, ""]

    def text(self, text):
        self.lines += [text, ""]

    def table(self, heads, rows):
        self.lines += table(heads, rows) + [""]

    def command(self, *commands):
        self.lines += ["Command: " + ", ".join(f"`{text}`" for text in commands), ""]

    def output(self, text, problem):
        """What a program printed, or why there is nothing."""
        self.lines += [f"{problem[0].upper()}{problem[1:]}.", ""] if problem else ["```", text.rstrip(), "```", ""]

    def aim(self, what, value, form, least=None, most=None, why="see below"):
        """An aim of at least `least` or at most `most`; a value of None is one that was not measured; `why` it is missed."""
        if value is None:
            self.aims.append([what, "—", "not measured"])
            return
        met = (least is None or value >= least) and (most is None or value <= most)
        self.aims.append([what, form.format(value), "met" if met else f"missed ({why})"])

    def write(self, path):
        top = [f"# {self.title}", "",
               f"Written by `{self.script}` on the machine below; every figure is measured there, in that run. Times are "
               "processor time of one core, the least of several runs, unless a table says otherwise. Compare figures "
               "of one table rather than across tables or machines.", ""]
        if self.aims:
            top += ["## Aims", ""] + table(["aim", "measured", "result"], self.aims) + [""]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(top + self.lines).rstrip() + "\n", encoding="utf-8")
