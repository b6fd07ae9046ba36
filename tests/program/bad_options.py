"""Cases: options that can't be."""

import json

from bad_files import GOOD, SAMPLES
from harness import Case

# Text that is no finite number.
NO_NUMBERS = ("abc", "", "nan", "inf", "-inf", "1e999", "0x10", "1.5abc", "1,5", " 1", "--")
NO_COUNTS = ("abc", "", "-1", "1.5", "1e3", "0x10", "18446744073709551616", "99999999999999999999999", " 7", "7 ", "+7")

# Program, its other arguments, its numbers, its counts.
NUMBERS = {
    "track_artery": (["good.npy"], ["--smoothing-time", "--least-correlation", "--dead-zone", "--near-start", "--far-start",
                                    "--pulse-delay", "--block"], ["--atoms", "--smoothing-frames", "--threads"]),
    "follow_stream": (["good.json", "--samples", str(SAMPLES)], ["--block", "--overlap", "--pulse-delay"], []),
    "follow_frames": (["good.json", "--samples", str(SAMPLES)], ["--learn", "--pulse-delay"], []),
    "plan_measurement": ([], ["--centre-frequency", "--bandwidth", "--sampling-rate", "--sound-speed", "--wanted",
                              "--tissue-motion"],
                         ["--averaged-frames"]),
    "decompose_batch": (["dictionary.npy", "signals.npy"], [], ["--atoms"]),
    "limits_study": ([], [], ["--trials", "--gates", "--threads"]),
    "wall_study": ([], ["--seconds", "--event-probability", "--least-confidence"],
                   ["--first", "--recordings", "--without-artery", "--threads"]),
    "compare_methods": ([], [], ["--seeds", "--threads"]),
    "make_recording": (["x.npy"], ["--seconds", "--centre-frequency", "--bandwidth", "--sampling-rate", "--frame-rate",
                                   "--start-depth", "--depth-range", "--centre-depth", "--diameter", "--distension",
                                   "--near-share", "--heart-rate", "--breathing", "--clutter", "--snr", "--dropped",
                                   "--contact-loss", "--contact-loss-start", "--contact-loss-length", "--near-strength",
                                   "--far-strength", "--far-lag", "--tissue-lag", "--reverberation-depth",
                                   "--reverberation", "--trigger-jitter", "--sensor-step", "--sensor-step-time",
                                   "--clipped", "--ectopic"], ["--seed", "--lines"]),
}
PLAIN = ("own_optimiser", "decompose_one_frame", "correlate_two_echoes", "resolve_two_layers")
PROGRAMS = (*NUMBERS, *PLAIN, "compare_with_truth")


def unreadable():
    """Every number and count of every program, with text that is none."""
    turn = 0
    for program, (arguments, numbers, counts) in NUMBERS.items():
        for options, texts in ((numbers, NO_NUMBERS), (counts, NO_COUNTS)):
            for option in options:
                # All texts for a few options, some for the many that are read by the same code.
                chosen = texts if len(options) < 8 else [texts[(turn + k) % len(texts)] for k in range(3)]
                turn += 1
                for text in chosen:
                    joined = f"{option}={text}"
                    yield Case(program, joined, [*arguments, joined], (option,))


def outside():
    """Numbers that are some, but outside what they stand for; each named."""
    def case(program, arguments, *words, **more):
        return Case(program, " ".join(arguments), arguments, words, **more)
    track = ["good.npy"]
    for options, words in ((["--atoms", "0"], "--atoms"), (["--atoms", "4294967297"], "--atoms = 4294967297"),
                           (["--smoothing-frames", "30"], "needs --smoothing average"),
                           (["--smoothing-time", "3"], "needs --smoothing gaussian"),
                           (["--smoothing", "average", "--smoothing-frames", "1e9"], "--smoothing-frames"),
                           (["--smoothing", "average", "--smoothing-frames", "1000000000"], "--smoothing-frames"),
                           (["--smoothing", "average", "--smoothing-frames", "0"], "--smoothing-frames"),
                           (["--smoothing", "gaussian", "--smoothing-time", "-1"], "--smoothing-time"),
                           (["--smoothing", "gaussian", "--smoothing-time", "1e300"], "--smoothing-time"),
                           (["--smoothing", "gaussian", "--smoothing-frames", "3"], "needs --smoothing average"),
                           (["--smoothing", "much"], "--smoothing"), (["--layer", "third"], "--layer"),
                           (["--least-correlation", "1"], "least_correlation"),
                           (["--least-correlation", "-0.1"], "least_correlation"),
                           (["--dead-zone", "-1"], "dead_zone"), (["--dead-zone", "0.9"], "--dead-zone = 0.9"), (["--dead-zone", "3"], "dead_zone = 3"),
                           (["--dead-zone", "1e300"], "dead_zone"),
                           (["--near-range", "6", "7"], "outside the recording, 5 to"),
                           (["--far-range", "0.001", "0.002"], "outside the recording, 5 to"),
                           (["--near-range", "0.012", "0.009"], "--near-range"),
                           (["--near-range", "0.01", "0.01"], "--near-range"), (["--near-range", "0.01"], "--near-range"),
                           (["--near-range", "0.01", "x"], "--near-range"),
                           (["--near-range", "0.01", "0.02", "--near-start", "0.01"], "excludes"),
                           (["--near-start", "10"], "outside the recording"),
                           (["--far-start", "-3"], "outside the recording"),
                           (["--pulse-delay", "1"], "pulse_delay = 1"), (["--pulse-delay", "-1"], "pulse_delay = -1"),
                           (["--pulse-delay", "1e-7", "--no-pulse-delay"], "excludes"),
                           (["--block", "-1"], "--block"), (["--block", "1e-9"], "length"), (["--block", "0.2"], "length"),
                           (["--block", "1e12"], "frames a block"), (["--meta"], "--meta"), (["--out"], "--out"),
                           (["--meta", "a", "--meta", "b"], "--meta"), (["--block", "1", "--block", "2"], "--block"),
                           (["more.npy"], "more.json: there is no such file"), (["--threads", "0"], "--threads"),
                           (["--threads", "257"], "--threads = 257"), (["--unknown"], "--unknown"), (["-x"], "-x"),
                           (["--no-pictures=x"], "--no-pictures"), (["--help-all"], "--help-all")):
        yield case("track_artery", [*track, *options], words)
    yield case("track_artery", [], "NAME.npy is required")
    yield case("track_artery", [""], "there is no such file")
    for program in ("follow_stream", "follow_frames"):
        for text in ("0", "-1", "1e3", "99999999999", "12500001"):
            yield case(program, ["good.json", "--samples", text], f"--samples = {text}")
        yield case(program, ["good.json"], "--samples is required")
        yield case(program, ["--samples", "9"], "SETTINGS.json is required")
        yield case(program, ["good.json", "--samples", "9", "--pulse-delay", "1"], "pulse_delay")
    for text in ("0", "0.4", "61", "-3"):
        yield case("follow_frames", ["good.json", "--samples", "441", "--learn", text], f"--learn = {text}")
    yield case("follow_frames", ["good.json", "--samples", "12500000", "--learn", "60"], "samples to learn from")
    for options, words in ((["--block", "0"], "length"), (["--block", "-4"], "length"), (["--block", "1e12"], "frames a block"),
                           (["--overlap", "3"], "overlap"), (["--overlap", "0"], "overlap"),
                           (["--overlap", "-1"], "overlap"), (["--block", "0.1"], "length")):
        yield case("follow_stream", ["good.json", "--samples", "441", *options], words)
    make = ["x.npy"]
    for options, words in ((["--seconds", "-1"], "duration = -1"), (["--seconds", "0"], "duration = 0"),
                           (["--seconds", "1e-9"], "number of frames"), (["--seconds", "1e9"], "--seconds"),
                           (["--seconds", "1e5"], "--seconds"), (["--frame-rate", "1e9"], "frame_rate"),
                           (["--sampling-rate", "1e12"], "sampling_rate"), (["--sampling-rate", "1e6"], "sampling_rate"),
                           (["--bandwidth", "7.99e6"], "bandwidth"), (["--bandwidth", "0"], "bandwidth"),
                           (["--centre-frequency", "4"], "centre_frequency"), (["--depth-range", "1e9"], "--depth-range"),
                           (["--depth-range", "-1"], "depth_range"), (["--depth-range", "1e-9"], "centre_depth"),
                           (["--start-depth", "-1"], "start_time"), (["--start-depth", "1e9"], "start_time"),
                           (["--diameter", "0"], "diameter"), (["--diameter", "1"], "centre_depth"),
                           (["--distension", "1"], "distension"), (["--near-share", "1.5"], "near_share"),
                           (["--heart-rate", "0"], "heart_rate"), (["--heart-rate", "1e9"], "heart_rate"),
                           (["--clutter", "1e3"], "clutter_decibels"), (["--snr", "-1e3"], "snr_decibels"),
                           (["--dropped", "1"], "dropped_fraction"), (["--drop-kind", "all"], "--drop-kind"),
                           (["--simulator", "third"], "--simulator"), (["--drawn", "leg"], "--drawn"),
                           (["--event", "clipping"], "requires --drawn"), (["--fine"], "requires --drawn"),
                           (["--drawn", "vein"], "layered alone can draw"),
                           (["--drawn", "artery", "--snr", "3"], "excludes --drawn"),
                           (["--drawn", "artery", "--clipped", "0.1"], "excludes --drawn"),
                           (["--drawn", "artery", "--event", "rain"], "--event"),
                           (["--drawn", "artery", "--event-probability", "2"], "event_probability"),
                           (["--drawn", "artery", "--seconds", "1e9"], "must not exceed"),
                           (["--contact-loss", "3"], "contact_loss"), (["--ectopic", "-1"], "ectopic_probability"),
                           (["--lines", "0"], "--lines = 0"), (["--lines", "257"], "--lines = 257"),
                           (["--line-spacing", "1e-3"], "requires --lines"), (["--line-tilt", "0.1"], "requires --lines"),
                           (["--pulse-wave-velocity", "5"], "requires --lines"),
                           (["--lines", "2", "--line-spacing", "0"], "spacing = 0"),
                           (["--lines", "2", "--line-spacing", "far"], "--line-spacing"),
                           (["--lines", "3", "--line-spacing", "1"], "spacing = 1"),
                           (["--lines", "2", "--line-tilt", "-0.4"], "tilt = -0.4"),
                           (["--lines", "2", "--pulse-wave-velocity", "-5"], "pulse_wave_velocity = -5"),
                           (["--lines", "2", "--line-spacing", "0.5", "--pulse-wave-velocity", "0.1"], "line_delay = 5"),
                           (["--lines", "40", "--line-spacing", "1e-3", "--line-tilt", "0.3"], "centre_depth"),
                           (["--lines", "256", "--seconds", "100"], "256 lines of")):
        yield case("make_recording", [*make, *options], words)
    yield case("make_recording", [], "NAME.npy is required")
    for name in ("x.txt", "x", ".npy", "x.npy.gz", "..", "x.json"):
        yield case("make_recording", [name], "must end in .npy")
    for options, words in ((["--centre-frequency", "4"], "centre_frequency"), (["--bandwidth", "9e6"], "bandwidth"),
                           (["--bandwidth", "0"], "bandwidth"), (["--sampling-rate", "0"], "sampling_rate"),
                           (["--sound-speed", "0"], "sound_speed"), (["--averaged-frames", "0"], "--averaged-frames"),
                           (["--wanted", "0"], "wanted"), (["--wanted", "-2"], "wanted"),
                           (["--tissue-motion", "0"], "tissue_motion"), (["more"], "more")):
        yield case("plan_measurement", options, words)
    batch = ["dictionary.npy", "signals.npy"]
    yield case("decompose_batch", [*batch, "--atoms", "0"], "--atoms")
    yield case("decompose_batch", ["dictionary.npy"], "SIGNALS.npy is required")
    yield case("decompose_batch", ["dictionary.npy", "good.npy"], "rows of the signals")
    for program in ("limits_study", "wall_study", "compare_methods"):
        for text in ("0", "257", "1000000"):
            yield case(program, ["--threads", text], f"--threads = {text}")
    yield case("limits_study", ["--trials", "99999999999"], "--trials")
    yield case("limits_study", ["--gates", "0"], "--gates")
    yield case("wall_study", ["--recordings", "99999999999"], "--recordings")
    for options, words in ((["--simulator", "x"], "--simulator"), (["--simulator", "layered,both"], "--simulator"),
                           (["--event", "x"], "--event"),
                           (["--seconds", "0"], "--seconds"), (["--seconds", "1e9"], "--seconds"),
                           (["--event-probability", "7"], "event_probability"),
                           (["--least-confidence", "7"], "least_confidence")):
        yield case("wall_study", ["--recordings", "1", "--without-artery", "0", "--simulator", "section", *options], words)
    yield case("compare_methods", ["--seeds", "0"], "--seeds")
    yield case("compare_methods", ["--seeds", "1001"], "--seeds")


def asked_for_help():
    """--help and --version of all, and usage errors, which are none of them."""
    for program in PROGRAMS:
        yield Case(program, "--help", ["--help"], ("not for diagnosis", "--version"), (0,))
        yield Case(program, "-h", ["-h"], ("Usage: ",), (0,))
        yield Case(program, "--version", ["--version"], (f"{program} 0.",), (0,))
        yield Case(program, "unknown option", ["--no-such-option"], ("--help tells more",))
        if program != "track_artery":  # which takes a file of each line
            yield Case(program, "too many", ["a", "b", "c", "d"], ("--help tells more",))


def unusual():
    """Said to be so; then taken, or refused for what follows from it."""
    def case(name, words, **fields):
        return Case("track_artery", f"unusual: {name}", ["good.npy", "--meta", "x.json", "--no-pictures", "--out", "o"], words,
                    (0, 1, 2), files={"x.json": json.dumps({**GOOD, **fields}).encode()})
    yield case("sound in steel", ("sound_speed = 5900", "unusual"), sound_speed=5900)
    yield case("slow frames", ("frame_rate = 20", "unusual"), frame_rate=20)
    yield case("another sensor", ("centre_frequency", "contradicts the recording"), centre_frequency=6.5e6)
    yield case("a narrow band", ("bandwidth = 100000", "unusual"), bandwidth=1e5)


def all_cases():
    for cases in (unreadable, outside, asked_for_help, unusual):
        yield from cases()
