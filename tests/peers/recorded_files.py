"""pandas and DuckDB read every file of the demo's recording; they and emberline agree on what is in it.

Counts and sums of every column, file by file; the rows of all day files against 'export' and 'verify'."""

import json
import subprocess

import bench
import duckdb
import pandas


def by_pandas(path):
    """Rows, and for each column the count of cells that are not empty and the sum, if it is one of numbers."""
    table = pandas.read_csv(path, keep_default_na=False, na_values=[""])
    sums = {}
    for name, column in table.items():
        is_number = pandas.api.types.is_numeric_dtype(column) and column.count() > 0
        sums[name] = (int(column.count()), round(float(column.sum()), 6) if is_number else None)
    return len(table), sums


def by_duckdb(path, numbers):
    """The same; every cell is read as text and those of `numbers` made decimals, which add exactly."""
    source = f"read_csv('{path}', header=true, all_varchar=true, delim=',', quote='\"')"
    names = [row[0] for row in duckdb.sql(f"describe select * from {source}").fetchall()]
    wanted = ["count(*)"]
    for name in names:
        wanted.append(f'count("{name}")')
        wanted.append(f'sum("{name}"::decimal(18, 6))' if name in numbers else "null")
    rows, *figures = duckdb.sql(f"select {', '.join(wanted)} from {source}").fetchall()[0]
    pairs = zip(figures[::2], figures[1::2])
    sums = {
        name: (count, None if total is None else float(total))
        for name, (count, total) in zip(names, pairs)
    }
    return rows, sums


def agree(tally, name, path):
    rows, sums = by_pandas(path)
    numbers = [column for column, (_, total) in sums.items() if total is not None]
    others, theirs = by_duckdb(path, numbers)
    tally.equal(f"{name}: rows", others, rows)
    for column, (count, total) in sums.items():
        tally.equal(f"{name}: cells of {column}", theirs[column][0], count)
        if total is not None:
            tally.true(f"{name}: sum of {column}", abs(theirs[column][1] - total) < 1e-3)
    return rows, sums


def main():
    tally = bench.Tally()
    with bench.folder() as cwd:
        code, _, _ = bench.emberline("demo", "--headless", "--seed", "7", "--out", ".", cwd=cwd)
        tally.equal("demo: exit code", code, 0)
        recording = next(cwd.glob("*/recording.toml")).parent
        command = ["sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"]
        tally.equal("sha256sum", subprocess.run(command, cwd=recording).returncode, 0)

        rows, sums = 0, {}
        files = sorted(recording.glob("*/*.csv"))
        tally.true("there are files of each kind", len(files) >= 3, files)
        for path in files:
            found, columns = agree(tally, path.relative_to(recording).as_posix(), path)
            if path.name[:1] == "2":
                rows += found
                for name, (count, total) in columns.items():
                    counts, totals = sums.get(name, (0, 0.0))
                    sums[name] = (counts + count, totals + (total or 0.0))

        code, said, _ = bench.emberline("verify", recording, "--json", cwd=cwd)
        tally.equal("verify: exit code", code, 0)
        tally.equal("verify: rows", json.loads(said)["loops"][0]["rows"], rows)
        code, said, _ = bench.emberline("export", recording, "--to", "all.csv", "--json", cwd=cwd)
        tally.equal("export: exit code", code, 0)
        tally.equal("export: rows", json.loads(said)["rows"], rows)
        exported, columns = agree(tally, "all.csv", cwd / "all.csv")
        tally.equal("all.csv: rows of all day files", exported, rows)
        for name, (count, total) in sums.items():
            tally.equal(f"all.csv: cells of {name} in all day files", columns[name][0], count)
            near = abs((columns[name][1] or 0.0) - total) < 1e-3
            tally.true(f"all.csv: sum of {name} in all day files", near)
    tally.close()


if __name__ == "__main__":
    main()
