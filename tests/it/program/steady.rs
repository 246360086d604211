//! `steady` on the demo's recording, on several loops, and on wrong use.

use std::fmt::Write as _;
use std::fs;

use serde_json::Value;
use tempfile::tempdir;

use super::emberline;

#[test]
fn the_demos_holds_are_those_of_measure_and_its_cycle_is_the_relays() {
    let folder = tempdir().unwrap();
    let out = folder.path().join("demo");
    let demo = emberline(&["demo", "--headless", "--out", out.to_str().unwrap()]);
    assert_eq!(demo.code, Some(0), "{demo}");
    let recording = out.join("2027-03-04T06-00-00Z_annealing-oven");
    let recording = recording.to_str().unwrap();
    let measured = emberline(&["measure", recording, "--json"]).json();
    let episodes = measured["loops"][0]["episodes"].as_array().unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    let is_hold = |it: &&Value| matches!(it["kind"].as_str(), Some("hold" | "soak"));
    let holds: Vec<f64> = episodes
        .iter()
        .filter(is_hold)
        .map(|it| number(&it["end_s"]) - number(&it["start_s"]))
        .collect();
    let steady = emberline(&["steady", recording, "--json"]).json();
    let one = &steady["loops"][0];
    let off = holds.iter().sum::<f64>() - number(&one["counted_s"]);
    // A hold counts from its first sample to its last: up to a second less at either end.
    assert!(
        (0.0..=2.0 * holds.len() as f64).contains(&off),
        "{holds:?}, {off}"
    );
    assert!(holds.len() >= 4, "{holds:?}");
    // The demo's output is switched every 20 s.
    assert!(
        (number(&one["cycle"]["period_s"]) - 20.0).abs() < 0.1,
        "{}",
        one["cycle"]
    );
    let text = emberline(&["steady", recording, "--cycle-time", "20s"]).out;
    assert!(text.contains("relay operations"), "{text}");
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
}

/// A recording of two loops, twenty minutes, the floor two degrees cooler.
fn two_loops(folder: &std::path::Path) {
    let map = "schema = 1\ntitle = \"One\"\n[points.pv]\nrole = \"process-value\"\ntable = \"holding\"\n\
               address = 0\nencoding = \"i16\"\nscale = 0.1\nunit = \"degC\"\n\
               [points.sp]\nrole = \"setpoint\"\ntable = \"holding\"\naddress = 1\nencoding = \"i16\"\n\
               scale = 0.1\nunit = \"degC\"\n";
    let setup = "schema = 1\n[lines.shop]\nserial = \"none\"\n\
                 [[loops]]\nname = \"top\"\nline = \"shop\"\nunit_number = 1\nmap = \"one.toml\"\n\
                 [[loops]]\nname = \"floor\"\nline = \"shop\"\nunit_number = 2\nmap = \"one.toml\"\n";
    let facts = format!(
        "schema = 1\nprogram = \"0.1.0\"\nname = \"lehr\"\nbegan = \"2027-03-27T10:00:00.000Z\"\n\
         [setup]\nname = \"lehr\"\ntext = '''\n{setup}'''\n[maps]\n\"one.toml\" = '''\n{map}'''\n"
    );
    fs::write(folder.join("recording.toml"), facts).unwrap();
    for (name, tenths) in [("top", 5100), ("floor", 5080)] {
        let mut text = String::from("time,elapsed_s,state,pv_degC,sp_degC\n");
        for second in 0..1200 {
            let (minute, rest) = (second / 60, second % 60);
            let tenths = tenths + second % 3 - 1;
            let pv = format!("{}.{}", tenths / 10, tenths % 10);
            writeln!(
                text,
                "2027-03-27T10:{minute:02}:{rest:02}.000Z,{second}.000,good,{pv},510.0"
            )
            .unwrap();
        }
        fs::create_dir(folder.join(name)).unwrap();
        fs::write(folder.join(name).join("2027-03-27.csv"), text).unwrap();
        fs::write(
            folder.join(name).join("events.csv"),
            "time,elapsed_s,event,text\n",
        )
        .unwrap();
        let header = "time,elapsed_s,cause,point,role,value,unit\n";
        fs::write(folder.join(name).join("settings.csv"), header).unwrap();
    }
}

#[test]
fn several_loops_stand_side_by_side_with_what_they_cannot_say() {
    let folder = tempdir().unwrap();
    two_loops(folder.path());
    let recording = folder.path().to_str().unwrap();
    let ended = emberline(&["steady", recording, "--band", "5"]);
    assert_eq!(ended.code, Some(0), "{ended}");
    let row = ended
        .out
        .lines()
        .rfind(|line| line.starts_with("floor"))
        .unwrap_or_default();
    let cells: Vec<&str> = row.split_whitespace().collect();
    let minus_two = "\u{2212}2.00";
    assert_eq!(
        (cells[1], cells[4], cells[5]),
        ("508.00", minus_two, minus_two),
        "{ended}"
    );
    assert!(ended.out.contains("takes independent sensors"), "{ended}");
    assert!(
        ended.out.lines().all(|line| line.chars().count() <= 80),
        "{ended}"
    );
    let one = emberline(&["steady", recording, "--loop", "floor", "--json"]).json();
    assert_eq!(one["loops"].as_array().unwrap().len(), 1);
    let none = emberline(&["steady", recording, "--loop", "wall"]);
    assert_eq!(none.code, Some(2), "{none}");
    assert!(none.err.contains("its loops are top, floor"), "{none}");
}

#[test]
fn exit_codes_are_those_of_the_contract() {
    let folder = tempdir().unwrap();
    let file = folder.path().join("short.csv");
    fs::write(&file, "t,pv,sp\n0,510,510\n1,511,510\n").unwrap();
    let file = file.to_str().unwrap();
    assert_eq!(emberline(&["steady", file]).code, Some(1));
    assert_eq!(
        emberline(&["steady", file, "--around", "510"]).code,
        Some(0)
    );
    assert_eq!(emberline(&["steady", file, "--band", "0"]).code, Some(2));
    let missing = folder.path().join("nowhere.csv");
    assert_eq!(
        emberline(&["steady", missing.to_str().unwrap()]).code,
        Some(4)
    );
    let torn = folder.path().join("torn.csv");
    fs::write(&torn, "t,pv,sp\n0,510,510\n1,5x1,510\n").unwrap();
    let ended = emberline(&["steady", torn.to_str().unwrap()]);
    assert_eq!(ended.code, Some(4), "{ended}");
    assert!(ended.err.contains("torn.csv"), "{ended}");
}
