//! The sweep of `find` on wires in memory, in virtual time.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use emberline::line::{
    Answer, Identification, News, OpenAt, Opened, Outcome, Pace, PortError, Search, Sweep,
    USUAL_BAUDS, USUAL_FORMATS,
};
use emberline::setup::{Port, UnitId};
use futures_util::FutureExt as _;
use mock_device::registers::{Annealer, Floats};
use mock_device::wire::{Bus, Unit, in_memory};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};

/// The settings at which a port was opened, in order.
type Visited = Arc<Mutex<Vec<String>>>;

fn search(units: &[u8]) -> Search {
    Search {
        ports: Search::serial_ports("bench", &USUAL_BAUDS, &USUAL_FORMATS),
        units: units.iter().copied().filter_map(UnitId::new).collect(),
        answer_within: Duration::from_millis(200),
        listen_first: Duration::from_secs(2),
        all_settings: false,
    }
}

/// A port whose wire `wire` makes for each setting that it can be opened at.
fn port(mut wire: impl FnMut(&str) -> Option<DuplexStream> + Send + 'static) -> (OpenAt, Visited) {
    let visited = Visited::default();
    let seen = visited.clone();
    let open_at = move |port: Port| {
        let setting = port.to_string();
        let wire = wire(&setting);
        seen.lock().unwrap().push(setting);
        let opened = match wire {
            Some(wire) => Ok(Opened {
                wire: Box::new(wire),
                pace: Pace::of(&port),
            }),
            None => Err(PortError {
                what: "gone".to_owned(),
                help: "plug it in".to_owned(),
            }),
        };
        std::future::ready(opened).boxed()
    };
    (Box::new(open_at), visited)
}

fn oven() -> Panel {
    Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0)
}

fn sealed(frame: &[u8]) -> Vec<u8> {
    let check = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(frame);
    [frame, &check.to_le_bytes()].concat()
}

/// A wire whose other end gives `answer` to every request, check excluded both; its answers are
/// sealed.
fn answering(mut answer: impl FnMut(&[u8]) -> Option<Vec<u8>> + Send + 'static) -> DuplexStream {
    raw(move |request| answer(&request[..request.len() - 2]).map(|it| sealed(&it)))
}

/// A wire whose other end sends any bytes after a request.
fn raw(mut answer: impl FnMut(&[u8]) -> Option<Vec<u8>> + Send + 'static) -> DuplexStream {
    let (near, mut far) = tokio::io::duplex(4096);
    tokio::spawn(async move {
        let mut request = [0; 256];
        while let Ok(length @ 1..) = far.read(&mut request).await {
            if let Some(bytes) = answer(&request[..length]) {
                far.write_all(&bytes).await.unwrap();
            }
        }
    });
    near
}

fn silent() -> DuplexStream {
    raw(|_| None)
}

async fn swept(search: Search, open_at: OpenAt) -> Outcome {
    let mut sweep = Sweep::new(search, open_at);
    sweep.run(&mut |_| {}).await.unwrap();
    sweep.outcome().clone()
}

fn units(outcome: &Outcome) -> Vec<u8> {
    outcome.found.iter().map(|found| found.unit.get()).collect()
}

#[tokio::test(start_paused = true)]
async fn one_answer_settles_the_setting_and_the_others_are_asked_there_alone() {
    let (open_at, visited) = port(|setting| {
        Some(if setting == "bench 19200 8N1" {
            in_memory(Bus::new(vec![
                Unit::new(3, &Annealer, oven()),
                Unit::new(200, &Floats, oven()),
            ]))
        } else {
            silent()
        })
    });
    let outcome = swept(search(&[1, 2, 3, 4, 199, 200, 201]), open_at).await;
    assert_eq!(units(&outcome), [3, 200]);
    let (annealer, floats) = (&outcome.found[0], &outcome.found[1]);
    assert!(matches!(
        annealer.answers[..],
        [(3, Answer::Value(_)), (4, Answer::Refused(1))]
    ));
    assert!(matches!(
        floats.answers[..],
        [(3, Answer::Value(_)), (4, Answer::Value(_))]
    ));
    assert_eq!(
        *visited.lock().unwrap(),
        [
            "bench 9600 8E1",
            "bench 9600 8N1",
            "bench 19200 8E1",
            "bench 19200 8N1",
            "bench 19200 8N1"
        ]
    );
}

#[tokio::test(start_paused = true)]
async fn all_settings_are_tried_when_they_are_wanted() {
    let (open_at, visited) =
        port(|_| Some(in_memory(Bus::new(vec![Unit::new(1, &Annealer, oven())]))));
    let all = Search {
        all_settings: true,
        ..search(&[1])
    };
    assert_eq!(units(&swept(all, open_at).await), [1; 32]);
    assert_eq!(visited.lock().unwrap().len(), 32);
}

#[tokio::test(start_paused = true)]
async fn noise_of_a_wrong_setting_is_never_a_unit() {
    // Twenty random bytes behind every request, another twenty each time.
    let mut state = 1_u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    let (open_at, _) = port({
        move |_| {
            let bytes: Vec<u8> = (0..20_000).map(|_| noise()).collect();
            let mut chunks = bytes
                .chunks(20)
                .map(<[u8]>::to_vec)
                .collect::<Vec<_>>()
                .into_iter();
            Some(raw(move |_| chunks.next()))
        }
    });
    let outcome = swept(search(&(1..=20).collect::<Vec<_>>()), open_at).await;
    assert_eq!(units(&outcome), [0; 0]);
    assert!(!outcome.damaged.is_empty());
}

#[tokio::test(start_paused = true)]
async fn a_refusal_that_comes_once_is_noise_and_one_that_comes_again_is_a_unit() {
    for (times, expected) in [(1, 0), (9, 1)] {
        let (open_at, _) = port(move |_| {
            let mut left = times;
            Some(answering(move |request| {
                left -= 1;
                (left >= 0).then(|| vec![request[0], request[1] | 0x80, 2])
            }))
        });
        let mut one = search(&[5]);
        one.ports.truncate(1);
        let outcome = swept(one, open_at).await;
        assert_eq!(outcome.found.len(), expected, "{times} refusals");
        for found in &outcome.found {
            assert_eq!(
                found.answers,
                [(3, Answer::Refused(2)), (4, Answer::Refused(2))]
            );
        }
    }
}

#[tokio::test(start_paused = true)]
async fn a_unit_that_ignores_function_03_is_found_by_04() {
    let (open_at, _) = port(|_| {
        Some(answering(|request| {
            (request[..2] == [8, 4]).then(|| vec![8, 4, 2, 0x01, 0xEA])
        }))
    });
    let outcome = swept(search(&[7, 8, 9]), open_at).await;
    assert_eq!(units(&outcome), [8]);
    assert_eq!(outcome.found[0].answers, [(4, Answer::Value(490))]);
}

#[tokio::test(start_paused = true)]
async fn nothing_but_reads_and_identification_goes_out() {
    let asked = Arc::new(Mutex::new(Vec::new()));
    let log = asked.clone();
    let (open_at, _) = port(move |_| {
        let log = log.clone();
        Some(answering(move |request| {
            log.lock().unwrap().push(request[1]);
            (request[1] == 3).then(|| vec![request[0], 3, 2, 0, 1])
        }))
    });
    swept(search(&[1, 2]), open_at).await;
    let mut functions = asked.lock().unwrap().clone();
    functions.sort_unstable();
    functions.dedup();
    assert_eq!(functions, [0x03, 0x04, 0x2B]);
}

#[tokio::test(start_paused = true)]
async fn a_slow_unit_is_heard_while_others_are_asked_and_then_asked_with_patience() {
    for late_ms in [250, 450, 700] {
        let (open_at, _) = port(move |_| {
            let mut bus = Bus::new(vec![Unit::new(3, &Annealer, oven())]);
            bus.timing.turnaround = Duration::from_millis(late_ms);
            Some(in_memory(bus))
        });
        let outcome = swept(search(&[1, 2, 3, 4, 5, 6]), open_at).await;
        assert_eq!(units(&outcome), [3], "{late_ms} ms");
        assert!(outcome.strangers.is_empty(), "{:?}", outcome.strangers);
    }
}

#[tokio::test(start_paused = true)]
async fn a_unit_says_what_it_is_in_as_many_answers_as_it_needs() {
    let (open_at, _) = port(|_| {
        Some(answering(|request| match request[1..] {
            [0x2B, 0x0E, 1, 0] => {
                Some([&[1, 0x2B, 0x0E, 1, 1, 0xFF, 1, 1, 0, 5][..], b"Glass"].concat())
            }
            [0x2B, 0x0E, 1, 1] => Some(
                [
                    &[1, 0x2B, 0x0E, 1, 1, 0, 0, 2, 1, 5][..],
                    b"\x1b[2JA",
                    &[2, 3],
                    b"1.0",
                ]
                .concat(),
            ),
            [3, ..] => Some(vec![1, 3, 2, 0, 1]),
            _ => None,
        }))
    });
    let outcome = swept(search(&[1]), open_at).await;
    let told = Identification {
        vendor: "Glass".to_owned(),
        product: "[2JA".to_owned(),
        revision: "1.0".to_owned(),
    };
    assert_eq!(outcome.found[0].identification, Some(told));
}

#[tokio::test(start_paused = true)]
async fn another_master_that_is_heard_first_stops_it_before_a_byte_is_sent() {
    let asked = Arc::new(Mutex::new(0));
    let count = asked.clone();
    let (open_at, _) = port(move |_| {
        let (near, mut far) = tokio::io::duplex(4096);
        let count = count.clone();
        tokio::spawn(async move {
            tokio::time::sleep(Duration::from_millis(900)).await;
            far.write_all(&sealed(&[9, 3, 0, 0, 0, 2])).await.unwrap();
            far.write_all(&sealed(&[9, 3, 4, 0, 1, 0, 2]))
                .await
                .unwrap();
            let mut bytes = Vec::new();
            far.read_to_end(&mut bytes).await.unwrap();
            *count.lock().unwrap() += bytes.len();
        });
        Some(near)
    });
    let mut sweep = Sweep::new(search(&[1]), open_at);
    let error = sweep.run(&mut |_| {}).await.unwrap_err();
    assert!(error.what.contains("unit 9 function 03"), "{error}");
    assert!(error.help.contains("--listen-first 0s"), "{error}");
    drop(sweep);
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert_eq!(*asked.lock().unwrap(), 0);
}

/// A wire on which noise comes at once, and unit 1 answers.
fn noisy() -> DuplexStream {
    let (near, mut far) = tokio::io::duplex(4096);
    let mut units = in_memory(Bus::new(vec![Unit::new(1, &Annealer, oven())]));
    tokio::spawn(async move {
        far.write_all(&[0x5A; 40]).await.unwrap();
        let _ = tokio::io::copy_bidirectional(&mut far, &mut units).await;
    });
    near
}

#[tokio::test(start_paused = true)]
async fn noise_may_be_a_master_at_another_setting_while_none_is_known_and_else_is_only_told() {
    let mut sweep = Sweep::new(search(&[1]), port(|_| Some(noisy())).0);
    let error = sweep.run(&mut |_| {}).await.unwrap_err();
    assert!(
        error.what.contains("40 bytes and no sound frame"),
        "{error}"
    );
    assert!(error.help.contains("--listen-first 0s"), "{error}");

    let mut known = search(&[1]);
    known.ports.truncate(1);
    let outcome = swept(known, port(|_| Some(noisy())).0).await;
    assert_eq!(units(&outcome), [1]);
    assert!(outcome.noise.unwrap().contains("40 bytes"));
}

#[tokio::test(start_paused = true)]
async fn another_master_that_is_heard_later_is_told() {
    let (open_at, _) = port(|_| {
        Some(answering(|request| {
            let reply = if request[0] == 1 { 1 } else { 9 };
            Some(vec![reply, 3, 2, 0, 1])
        }))
    });
    let outcome = swept(search(&[1, 2]), open_at).await;
    assert_eq!(units(&outcome), [1]);
    assert_eq!(outcome.strangers, [(9, 3)]);
}

#[tokio::test(start_paused = true)]
async fn a_sweep_that_is_stopped_keeps_what_it_found() {
    let (open_at, _) = port(|_| Some(in_memory(Bus::new(vec![Unit::new(2, &Annealer, oven())]))));
    let mut sweep = Sweep::new(search(&(1..=247).collect::<Vec<_>>()), open_at);
    let mut told = Vec::new();
    let mut tell = |news: News<'_>| {
        if let News::Found(found) = news {
            told.push(found.unit.get());
        }
    };
    let stopped = tokio::time::timeout(Duration::from_secs(30), sweep.run(&mut tell)).await;
    assert!(stopped.is_err());
    assert_eq!(units(sweep.outcome()), [2]);
    assert_eq!(told, [2]);
}

#[tokio::test(start_paused = true)]
async fn a_port_that_is_lost_once_is_opened_again_and_nobody_is_left_out() {
    let mut opened = 0;
    let (open_at, _) = port(move |_| {
        opened += 1;
        let bus = Bus::new(vec![Unit::new(4, &Annealer, oven())]);
        if opened > 1 {
            return Some(in_memory(bus));
        }
        // Dies at the second question.
        let (near, mut far) = tokio::io::duplex(64);
        tokio::spawn(async move {
            let mut request = [0; 8];
            far.read_exact(&mut request).await.unwrap();
            far.read_exact(&mut request).await.unwrap();
        });
        Some(near)
    });
    let outcome = swept(search(&[3, 4]), open_at).await;
    assert_eq!(units(&outcome), [4]);
    assert!(outcome.untried.is_empty());
}

#[tokio::test(start_paused = true)]
async fn a_setting_that_the_port_does_not_take_is_left_out_and_told() {
    let (open_at, _) = port(|setting| {
        if setting.contains(" 9600 ") {
            return None;
        }
        Some(in_memory(Bus::new(vec![Unit::new(1, &Annealer, oven())])))
    });
    let outcome = swept(search(&[1]), open_at).await;
    assert_eq!(units(&outcome), [1]);
    assert_eq!(outcome.found[0].port.to_string(), "bench 19200 8E1");
    assert_eq!(outcome.untried.len(), 2);
}

#[tokio::test(start_paused = true)]
async fn a_port_that_cannot_be_opened_at_all_is_the_error() {
    let (open_at, _) = port(|_| None);
    let mut sweep = Sweep::new(search(&[1]), open_at);
    let error = sweep.run(&mut |_| {}).await.unwrap_err();
    assert_eq!(error.what, "gone");
}

#[tokio::test(start_paused = true)]
async fn progress_goes_up_time_left_goes_down_and_the_estimate_is_right() {
    let (open_at, _) = port(|_| Some(silent()));
    let mut sweep = Sweep::new(search(&(1..=247).collect::<Vec<_>>()), open_at);
    let longest = sweep.longest();
    let began = tokio::time::Instant::now();
    let (mut done, mut left, mut asked) = (0.0, Duration::MAX, 0);
    let mut tell = |news: News<'_>| {
        let asking = match news {
            News::Listening(..) => return,
            News::Asking(asking) => asking,
            News::Found(_) => panic!("nobody is there"),
        };
        assert!(asking.done >= done && asking.done < 1.0, "{asking:?}");
        // Settings differ in speed, so the estimate may rise a little.
        assert!(
            asking.left <= left.saturating_add(Duration::from_mins(1)),
            "{asking:?} {left:?}"
        );
        (done, left) = (asking.done, asking.left);
        asked += 1;
    };
    sweep.run(&mut tell).await.unwrap();
    assert_eq!(asked, 32 * 247);
    assert!(
        done > 0.999 && left < Duration::from_secs(2),
        "{done} {left:?}"
    );
    let ratio = began.elapsed().as_secs_f64() / longest.as_secs_f64();
    assert!((0.9..1.1).contains(&ratio), "took {ratio} of what was said");
}
