//! What `read` remarks about values that can hardly be right, and that it is quiet about others.

use emberline::map::{Address, Image, Map, Table};

/// The remarks about one point `p` with these keys, of these words.
fn about(keys: &str, words: &[u16]) -> Vec<(&'static str, String)> {
    let text = format!(
        "schema = 1\ntitle = \"t\"\n[points.p]\ntable = \"holding\"\naddress = 0\n{keys}\n"
    );
    let map = Map::parse(&text, "t.toml").unwrap();
    let mut image = Image::default();
    image.put_words(Table::Holding, Address(0), words);
    let remarks = map.remarks(&image).into_iter();
    remarks.map(|remark| (remark.code, remark.text)).collect()
}

const PV: &str = "role = \"process-value\"\nunit = \"degC\"\n";

#[track_caller]
fn remarked(keys: &str, words: &[u16], code: &str, text: &str) {
    let remarks = about(keys, words);
    assert_eq!(remarks, [(code, text.to_owned())]);
}

#[test]
fn faults_are_told_with_their_words() {
    let pv = format!("{PV}encoding = \"i16\"\nfaults = {{ \"0x7FFF\" = \"sensor open\" }}");
    let text = "reads 0x7FFF, which the map calls \"sensor open\"";
    remarked(&pv, &[0x7FFF], "fault-value", text);
    let nan = format!("{PV}encoding = \"f32\"");
    remarked(&nan, &[0x7FC0, 0], "faulty", "not a number");
    let valid = format!("{PV}encoding = \"i16\"\nvalid = [0.0, 1300.0]");
    let text = "outside the valid range 0 to 1300";
    remarked(&valid, &[1301], "faulty", text);
}

#[test]
fn patterns_that_mean_a_fault_in_many_controllers_are_pointed_out() {
    let pv = format!("{PV}encoding = \"i16\"\nscale = 0.1");
    for (word, value) in [(0x7FFF, "3276.7"), (0x8000, "-3276.8"), (0xFFFF, "-0.1")] {
        let text = format!(
            "reads {value} (0x{word:X}): controllers often send that for a broken or absent sensor; \
             if this one does, add faults = {{ \"0x{word:X}\" = \"sensor open\" }}"
        );
        remarked(&pv, &[word], "fault-pattern", &text);
    }
    let long = "role = \"output\"\nunit = \"%\"\nencoding = \"i32\"";
    assert_eq!(about(long, &[0x7FFF, 0xFFFF])[0].0, "fault-pattern");
    // One step below zero is what a setting may well be.
    let offset = "role = \"pv-offset\"\nunit = \"degC\"\nencoding = \"i16\"";
    assert_eq!(about(offset, &[0xFFFF]), []);
}

#[test]
fn the_other_order_is_named_where_it_would_be_plausible() {
    let float = format!("{PV}encoding = \"f32\"");
    // 25.5 is 0x41CC0000 (IEEE 754).
    for (words, how) in [
        ([0x0000, 0x41CC], "word_order = \"low-first\""),
        ([0xCC41, 0x0000], "byte_order = \"low-first\""),
        (
            [0x0000, 0xCC41],
            "word_order = \"low-first\" and byte_order = \"low-first\"",
        ),
    ] {
        let remarks = about(&float, &words);
        assert_eq!(remarks[0].0, "other-order", "{remarks:?}");
        let end = format!("it would read 25.5 with {how}");
        assert!(remarks[0].1.ends_with(&end), "{remarks:?}");
    }
    // 490 exchanged is 2.4e-41, which rounds to a harmless 0.0.
    let rounded = format!("{float}\ndecimals = 1");
    assert_eq!(about(&rounded, &[0x0000, 0x43F5])[0].0, "other-order");
    let text = "16711680 can hardly be; it would read 255 with word_order = \"low-first\"";
    let whole = "role = \"other\"\nencoding = \"u32\"";
    remarked(whole, &[255, 0], "other-order", text);
}

#[test]
fn a_missing_scale_is_named_where_decimals_would_make_it_plausible() {
    let pv = format!("{PV}encoding = \"i16\"");
    let text = "5103 degC can hardly be; with one decimal more it would read 510.3";
    remarked(&pv, &[5103], "other-scale", text);
    let output = "role = \"output\"\nunit = \"%\"\nencoding = \"u16\"";
    let text = "10000 % can hardly be; with two decimals more it would read 100.00";
    remarked(output, &[10_000], "other-scale", text);
    let text = "-31000 degC can hardly be: check address, encoding and scale";
    let pv = format!("{PV}encoding = \"i16\"");
    remarked(&pv, &[(-31_000_i16).cast_unsigned()], "implausible", text);
}

#[test]
fn an_enumeration_with_a_value_that_is_not_listed_is_told() {
    let mode = "role = \"mode\"\nencoding = \"u16\"\nmeans = { \"0\" = \"automatic\" }";
    let text = "reads 7, which the map does not list";
    remarked(mode, &[7], "unlisted-value", text);
    assert_eq!(about(mode, &[0]), []);
}

#[test]
fn values_that_do_not_go_together_are_told() {
    let text = "schema = 1\ntitle = \"t\"\n\
        [points.sp]\nrole = \"setpoint\"\ntable = \"holding\"\naddress = 0\nencoding = \"i16\"\n\
        [points.working]\nrole = \"working-setpoint\"\ntable = \"holding\"\naddress = 1\n\
        encoding = \"i16\"\nscale = 0.1\n\
        [points.high]\nrole = \"setpoint-high\"\ntable = \"holding\"\naddress = 2\n\
        encoding = \"i16\"\n\
        [points.pv]\nrole = \"process-value\"\ntable = \"holding\"\naddress = 3\nencoding = \"i16\"\n\
        [tuning]\nform = \"standard\"\nproportional = \"band-percent\"\nspan = [0, 800]\n\
        integral = \"seconds\"\nderivative = \"seconds\"\n";
    let map = Map::parse(text, "t.toml").unwrap();
    let codes = |words: &[u16]| {
        let mut image = Image::default();
        image.put_words(Table::Holding, Address(0), words);
        let remarks = map.remarks(&image).into_iter();
        remarks.map(|it| it.code).collect::<Vec<_>>()
    };
    let all = ["factor-of-ten", "beyond-limit", "outside-span"];
    assert_eq!(codes(&[510, 510, 500, 900]), all);
    assert_eq!(codes(&[510, 5100, 600, 490]), [""; 0]);
}

#[test]
fn healthy_values_are_left_alone() {
    for (keys, words) in [
        (
            "role = \"process-value\"\nunit = \"degC\"\nencoding = \"i16\"\nscale = 0.1",
            &[4897][..],
        ),
        (
            "role = \"process-value\"\nunit = \"degC\"\nencoding = \"i16\"\nscale = 0.1",
            &[0],
        ),
        (
            "role = \"process-value\"\nunit = \"K\"\nencoding = \"f32\"",
            &[0x4392, 0x8000],
        ),
        (
            "role = \"output\"\nunit = \"%\"\nencoding = \"u16\"\nscale = 0.1",
            &[1000],
        ),
        (
            "role = \"integral\"\nunit = \"s\"\nencoding = \"u16\"\noff = 0",
            &[0],
        ),
        ("role = \"other\"\nencoding = \"u32\"", &[0x1234, 0x5678]),
        ("role = \"other\"\nencoding = \"u16\"\nbit = 15", &[0xFFFF]),
        ("role = \"other\"\nencoding = \"u16\"", &[0xFFFF]),
    ] {
        assert_eq!(about(keys, words), [], "{keys}");
    }
}
