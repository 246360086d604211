"""pandas reads what export writes, in the dialects of two countries, and finds the recording in it."""

import os

import bench
import pandas


def exported(tally, cwd, recording, name, *options):
    code, _, said = bench.emberline("export", recording, "--to", name, *options, cwd=cwd)
    tally.equal(f"{name}: exit code {said}", code, 0)
    return cwd / name


def main():
    tally = bench.Tally()
    os.environ["TZ"] = "Europe/Berlin"
    with bench.folder() as cwd:
        code, _, _ = bench.emberline("demo", "--headless", "--seed", "7", "--out", ".", cwd=cwd)
        tally.equal("demo: exit code", code, 0)
        day = next(cwd.glob("*/annealer-top/2*.csv"))
        recording = day.parent.parent
        recorded = pandas.read_csv(day)
        plain = pandas.read_csv(exported(tally, cwd, recording, "plain.csv"))
        tally.true("with points and commas: all as recorded", plain.equals(recorded))
        tabs = pandas.read_csv(exported(tally, cwd, recording, "tabs.tsv"), sep="\t")
        tally.true("with tabs: all as recorded", tabs.equals(recorded))
        options = ("--decimal", "comma", "--local-time", "--from", "1h")
        path = exported(tally, cwd, recording, "berlin.csv", *options)
        berlin = pandas.read_csv(path, sep=";", decimal=",")
        part = recorded[recorded.elapsed_s >= recorded.elapsed_s[0] + 3600].reset_index(drop=True)
        tally.true("with decimal commas: the numbers", berlin.iloc[:, 1:].equals(part.iloc[:, 1:]))
        here = pandas.to_datetime(berlin.time.str.replace(",", ".")).dt.tz_localize("Europe/Berlin")
        tally.true("the times", (here == pandas.to_datetime(part.time)).all())
    tally.close()


if __name__ == "__main__":
    main()
