"""What DuckDB and polars take for the figures of a recording: read_year.py PEER WHAT FOLDER.

Prints one JSON document: the figures, and the processor time, time and memory they took, without those
of starting Python and loading the library. WHAT is 'row' (everything a reader of an analysis gets: time,
state, process value, setpoint, output; the figures of all, and those of every hour) or 'pv' (the process value alone, so that all other cells can be
skipped)."""

import json
import resource
import sys
import time

SHARES = [0.01, 0.05, 0.5, 0.95, 0.99]
COLUMNS = {"row": ["pv_degC", "sp_degC", "out_pct"], "pv": ["pv_degC"]}
TYPES = {
    "time": "VARCHAR",
    "elapsed_s": "DOUBLE",
    "state": "VARCHAR",
    "pv_degC": "DOUBLE",
    "sp_degC": "DOUBLE",
    "out_pct": "DOUBLE",
    "tuning": "VARCHAR",
}


def with_duckdb(what, files):
    import duckdb

    began = used()
    columns = ", ".join(f"'{name}': '{kind}'" for name, kind in TYPES.items())
    # With its types given it looks at no file twice, which is quicker than letting it find out.
    source = f"read_csv('{files}', header=true, auto_detect=false, delim=',', columns={{{columns}}})"
    wanted = []
    for name in COLUMNS[what]:
        wanted += [f"{kind}({name})" for kind in ("count", "avg", "stddev", "min", "max")]
        wanted.append(f"quantile_cont({name}, {SHARES})")
    if what == "row":
        wanted += ["max(elapsed_s)", "count(*) filter (state = 'good')"]
    if what == "row":
        # Read once, kept, and asked twice.
        kept = "select elapsed_s, state, pv_degC, sp_degC, out_pct"
        duckdb.execute(f"create temp table kept as {kept} from {source}")
        source = "kept"
    row = list(duckdb.sql(f"select {', '.join(wanted)} from {source}").fetchall()[0])
    found = {}
    for name in COLUMNS[what]:
        five, row = row[:5], row[5:]
        found[name] = [*five, *row.pop(0)]
    if what == "row":
        hour = "avg(pv_degC) mean, min(pv_degC) least, max(pv_degC) greatest"
        hours = f"select {hour} from kept group by floor(elapsed_s / 3600)"
        asked = f"select count(*), avg(mean), avg(least), avg(greatest) from ({hours})"
        row += duckdb.sql(asked).fetchall()[0]
    return began, found, row


def with_polars(what, files):
    import polars

    began = used()
    wanted = []
    for name in COLUMNS[what]:
        column = polars.col(name)
        five = [column.count(), column.mean(), column.std(), column.min(), column.max()]
        five += [column.quantile(share, "linear") for share in SHARES]
        wanted += [figure.alias(f"{name} {at}") for at, figure in enumerate(five)]
    if what == "row":
        wanted += [polars.col("elapsed_s").max(), (polars.col("state") == "good").sum()]
    scan = polars.scan_csv(files, try_parse_dates=False)
    asked = [scan.select(wanted)]
    if what == "row":
        value = polars.col("pv_degC")
        hour = [value.mean().alias("mean"), value.min().alias("min"), value.max().alias("max")]
        hours = scan.group_by((polars.col("elapsed_s") / 3600).floor()).agg(hour)
        asked.append(hours.select(polars.len(), polars.col("mean", "min", "max").mean()))
    answers = polars.collect_all(asked, engine="streaming")
    row = [figure for answer in answers for figure in answer.row(0)]
    found = {}
    for name in COLUMNS[what]:
        found[name], row = row[:10], row[10:]
    return began, found, row


def used():
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime, time.monotonic()


def main():
    peer, what, folder = sys.argv[1:]
    read = {"duckdb": with_duckdb, "polars": with_polars}[peer]
    (cpu_s, wall_s), found, rest = read(what, f"{folder}/2*.csv")
    ended = used()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    took = {"cpu_s": ended[0] - cpu_s, "wall_s": ended[1] - wall_s, "peak_mb": peak}
    json.dump({**took, "columns": found, "rest": rest}, sys.stdout)


if __name__ == "__main__":
    main()
