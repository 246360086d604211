//! Simulated recordings as files.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use super::truth::{Form, Row, Simulated};

const BEGAN: &str = "2027-03-04T06:00:00.000Z";
/// What is in settings.csv; all else is an event.
const POINTS: [&str; 4] = ["mode", "band", "integral", "derivative"];
const MAP: &str = r#"schema = 1
title = "Simulated controller"
[points.pv]
role = "process-value"
table = "holding"
address = 0
encoding = "f32"
unit = "degC"
[points.sp]
role = "setpoint"
table = "holding"
address = 2
encoding = "f32"
unit = "degC"
[points.out]
role = "output"
table = "holding"
address = 4
encoding = "f32"
unit = "%"
[points.tuning]
role = "autotune-active"
table = "holding"
address = 6
encoding = "u16"
[points.mode]
role = "mode"
table = "holding"
address = 7
encoding = "u16"
means = { "0" = "automatic", "1" = "manual" }
refresh = "settings"
[points.band]
role = "proportional"
table = "holding"
address = 8
encoding = "f32"
unit = "degC"
refresh = "settings"
[points.integral]
role = "integral"
table = "holding"
address = 10
encoding = "f32"
unit = "s"
refresh = "settings"
[points.derivative]
role = "derivative"
table = "holding"
address = 12
encoding = "f32"
unit = "s"
refresh = "settings"
[tuning]
form = "standard"
proportional = "band-units"
integral = "seconds"
derivative = "seconds"
"#;

impl Simulated {
    /// Writes it into a folder, with its truth beside it; where it is then.
    pub(super) fn write(&self, folder: &Path) -> PathBuf {
        let truth = serde_json::json!({
            "form": self.form, "band": self.band, "events": self.truth,
        });
        let path = folder.join(format!("{}.truth.json", self.name));
        fs::write(path, truth.to_string()).unwrap();
        match self.form {
            Form::Csv => self.write_csv(folder),
            Form::Recording => self.write_recording(folder),
        }
    }

    fn write_csv(&self, folder: &Path) -> PathBuf {
        let mut text = "time_s,pv_degC,sp_degC,out_pct\n".to_owned();
        for row in &self.rows {
            let Row { time_s, output, .. } = row;
            let (pv, sp) = (cell(row.pv), cell(row.setpoint));
            writeln!(text, "{time_s:.3},{pv},{sp},{output:.1}").unwrap();
        }
        let path = folder.join(format!("{}.csv", self.name));
        fs::write(&path, text).unwrap();
        path
    }

    fn write_recording(&self, folder: &Path) -> PathBuf {
        let path = folder.join(&self.name);
        let the_loop = path.join("oven");
        fs::create_dir_all(&the_loop).unwrap();
        let name = &self.name;
        let band = self
            .band
            .map_or(String::new(), |band| format!("band = {band:.1}\n"));
        let facts = format!(
            "schema = 1\nprogram = \"0.1.0\"\nname = \"{name}\"\nbegan = \"{BEGAN}\"\n\
             [setup]\nname = \"{name}\"\ntext = '''\nschema = 1\n[lines.shop]\nserial = \"none\"\n\
             [[loops]]\nname = \"oven\"\nline = \"shop\"\nunit_number = 1\nmap = \"one.toml\"\n\
             {band}'''\n[maps]\n\"one.toml\" = '''\n{MAP}'''\n"
        );
        fs::write(path.join("recording.toml"), facts).unwrap();
        let mut days = "time,elapsed_s,state,pv_degC,sp_degC,out_pct,tuning\n".to_owned();
        for row in &self.rows {
            let (time, elapsed_s) = (wall(row.time_s), row.time_s);
            match row.pv {
                None => writeln!(days, "{time},{elapsed_s:.3},no-answer,,,,"),
                Some(pv) => {
                    let state = if row.setpoint.is_some() {
                        "good"
                    } else {
                        "partial"
                    };
                    let (sp, output) = (cell(row.setpoint), row.output);
                    let tuning = u8::from(row.tuning);
                    writeln!(
                        days,
                        "{time},{elapsed_s:.3},{state},{pv},{sp},{output:.1},{tuning}"
                    )
                }
            }
            .unwrap();
        }
        fs::write(the_loop.join("2027-03-04.csv"), days).unwrap();
        self.write_told(&the_loop);
        path
    }

    fn write_told(&self, folder: &Path) {
        let mut events = "time,elapsed_s,event,text\n".to_owned();
        let mut settings = "time,elapsed_s,cause,point,role,value,unit\n".to_owned();
        let began = wall(0.0);
        writeln!(settings, "{began},0.000,start,mode,mode,0,").unwrap();
        for (point, value) in ["band", "integral", "derivative"].iter().zip(self.tuning) {
            let (role, unit) = role(point);
            writeln!(
                settings,
                "{began},0.000,start,{point},{role},{value:.1},{unit}"
            )
            .unwrap();
        }
        for told in &self.told {
            let (time, elapsed_s) = (wall(told.time_s), told.time_s);
            if !POINTS.contains(&told.what) {
                writeln!(events, "{time},{elapsed_s:.3},{},{}", told.what, told.text).unwrap();
                continue;
            }
            let (point, (role, unit)) = (told.what, role(told.what));
            let (cause, value) = told.text.split_once(',').unwrap();
            writeln!(
                settings,
                "{time},{elapsed_s:.3},{cause},{point},{role},{value},{unit}"
            )
            .unwrap();
        }
        fs::write(folder.join("events.csv"), events).unwrap();
        fs::write(folder.join("settings.csv"), settings).unwrap();
    }
}

fn role(point: &str) -> (&'static str, &'static str) {
    match point {
        "mode" => ("mode", ""),
        "band" => ("proportional", "degC"),
        "integral" => ("integral", "s"),
        _ => ("derivative", "s"),
    }
}

fn cell(value: Option<f64>) -> String {
    value.map_or(String::new(), |value| format!("{value:.3}"))
}

fn wall(elapsed_s: f64) -> String {
    let began: chrono::DateTime<chrono::Utc> = BEGAN.parse().unwrap();
    let elapsed = chrono::TimeDelta::milliseconds((1000.0 * elapsed_s).round() as i64);
    (began + elapsed).to_rfc3339_opts(chrono::SecondsFormat::Millis, true)
}
