//! RTU frames on any stream.

use std::collections::{BTreeMap, HashMap};
use std::io;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, DuplexStream};
use tokio::time::Instant;

use super::bus::Bus;
use super::crc::sealed;
use super::faults::Sending;
use super::frames::Frames;
use super::master::{Asking, one_asks};

/// Room for a few frames each way.
const IN_MEMORY_BYTES: usize = 4096;

/// No unit has this number: what a master sends waits for no unit.
const MASTER: u8 = 0;

/// Lets the units of `bus` answer on `stream` until the other end closes it.
///
/// Each unit answers in the order in which it was asked, as late as its faults make it, while others
/// go on. Dropping the future unplugs the units.
///
/// # Errors
/// What reading or writing the stream fails with.
pub async fn serve_rtu<S>(mut stream: S, bus: &Bus) -> io::Result<()>
where
    S: AsyncRead + AsyncWrite + Unpin,
{
    let mut frames = Frames::default();
    let mut outbox = Outbox::default();
    let mut masters = bus.masters();
    loop {
        for master in &mut masters {
            let_ask(master, bus, &mut outbox);
        }
        while let Some(bytes) = outbox.due() {
            stream.write_all(&bytes).await?;
            stream.flush().await?;
        }
        let frame = tokio::select! {
            biased;
            () = outbox.wait() => continue,
            () = one_asks(&masters) => continue,
            frame = next_frame(&mut stream, &mut frames, bus) => frame?,
        };
        match frame {
            Some(frame) => _ = answer_to(&frame, bus, &mut outbox),
            None => return Ok(()),
        }
    }
}

/// Puts what a master asks now on the wire, and the answer to it.
fn let_ask(master: &mut Asking<'_>, bus: &Bus, outbox: &mut Outbox) {
    while let Some(request) = master.request() {
        let takes = bus.timing.on_the_wire(request.len());
        outbox.put(MASTER, Instant::now(), takes, request.to_vec());
        let answered = answer_to(request, bus, outbox);
        master.waits_for(request, answered, bus.timing);
    }
}

/// Puts the answer to a request on the wire; says when it is out, and what comes close behind it, if
/// it comes whole.
fn answer_to(frame: &[u8], bus: &Bus, outbox: &mut Outbox) -> Option<Instant> {
    let [unit, request @ .., _, _] = frame else {
        return None;
    };
    let mut answer = bus.answer(*unit, request)?;
    answer.insert(0, *unit);
    let answer = sealed(answer);
    // As late as its own fault makes it: what holds the unit up besides is not added.
    let mut from = Instant::now() + bus.timing.until_asked(frame.len());
    let mut out = from;
    let sendings = bus.sendings(frame, answer.clone());
    let is_whole = sendings.iter().any(|sending| sending.bytes == answer);
    for Sending { after, bytes } in in_one_piece(sendings) {
        let takes = bus.timing.on_the_wire(bytes.len());
        from += after;
        out = outbox.put(*unit, from, takes, bytes);
        from += takes;
    }
    bus.answered(*unit, request, out);
    is_whole.then_some(out)
}

/// What follows without a pause is heard without one: were it handed over frame by frame, each at its
/// end, the line would seem silent in between.
fn in_one_piece(sendings: Vec<Sending>) -> Vec<Sending> {
    let mut pieces: Vec<Sending> = Vec::new();
    for sending in sendings {
        match pieces.last_mut() {
            Some(piece) if sending.after.is_zero() => piece.bytes.extend(sending.bytes),
            _ => pieces.push(sending),
        }
    }
    pieces
}

/// What is still to be sent, each at the time when it is out.
#[derive(Debug, Default)]
struct Outbox {
    /// By time, and by order of putting in.
    waiting: BTreeMap<(Instant, u64), Vec<u8>>,
    put: u64,
    /// No unit overtakes itself.
    last: HashMap<u8, Instant>,
}

impl Outbox {
    /// Has `unit` send this from then on, or as soon as all it has to send before is out; gives the
    /// time when it is out.
    fn put(&mut self, unit: u8, from: Instant, takes: Duration, bytes: Vec<u8>) -> Instant {
        let last = self.last.entry(unit).or_insert(from);
        *last = from.max(*last) + takes;
        self.put += 1;
        self.waiting.insert((*last, self.put), bytes);
        *last
    }

    /// The next to be sent now.
    fn due(&mut self) -> Option<Vec<u8>> {
        let next = self.waiting.first_entry()?;
        (next.key().0 <= Instant::now()).then(|| next.remove())
    }

    /// Until something is due; for ever if there is nothing.
    async fn wait(&self) {
        match self.waiting.first_key_value() {
            Some(((at, _), _)) => tokio::time::sleep_until(*at).await,
            None => std::future::pending().await,
        }
    }
}

/// A wire in memory with the units of `bus` on it: the end for a master. The units answer in a task
/// of this runtime until that end is dropped.
pub fn in_memory(bus: Bus) -> DuplexStream {
    let (near, far) = tokio::io::duplex(IN_MEMORY_BYTES);
    tokio::spawn(async move {
        // Memory does not fail; what ends the task is the master dropping its end.
        let _ = serve_rtu(far, &bus).await;
    });
    near
}

/// The next frame with a right check; `None` when the stream has ended.
async fn next_frame<S>(
    stream: &mut S,
    frames: &mut Frames,
    bus: &Bus,
) -> io::Result<Option<Vec<u8>>>
where
    S: AsyncRead + Unpin,
{
    let mut came = [0; 512];
    loop {
        if let Some(frame) = frames.next() {
            return Ok(Some(frame));
        }
        let read = stream.read(&mut came);
        let read = if frames.is_empty() {
            read.await?
        } else if let Ok(read) = tokio::time::timeout(bus.timing.silence(), read).await {
            read?
        } else {
            if let Some(frame) = frames.end() {
                return Ok(Some(frame));
            }
            continue;
        };
        if read == 0 {
            return Ok(None);
        }
        frames.push(&came[..read]);
    }
}

#[cfg(test)]
mod tests {
    use super::super::bus::Unit;
    use super::super::faults::{Fault, Faults};
    use super::super::master::{Master, Poll};
    use super::super::timing::Timing;
    use super::*;
    use crate::oven::{LEFT_OVER_TUNING, Oven};
    use crate::panel::Panel;
    use crate::registers::{Annealer, Floats, Layout, Locked, StatusBits};

    fn panel() -> Panel {
        Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0)
    }

    fn plugged(timing: Timing) -> DuplexStream {
        let mut bus = Bus::new(vec![
            Unit::new(1, &Annealer, panel()),
            Unit::new(2, &Floats, panel()),
        ]);
        bus.timing = timing;
        in_memory(bus)
    }

    /// Whatever comes within a second of the device's time.
    async fn heard(wire: &mut DuplexStream) -> Vec<u8> {
        let mut bytes = vec![0; 300];
        let read = tokio::time::timeout(Duration::from_secs(1), wire.read(&mut bytes)).await;
        bytes.truncate(read.map_or(0, Result::unwrap));
        bytes
    }

    async fn ask(wire: &mut DuplexStream, request: &[u8]) -> Vec<u8> {
        wire.write_all(request).await.unwrap();
        heard(wire).await
    }

    fn read_setpoint(unit: u8) -> Vec<u8> {
        sealed(vec![unit, 3, 0, 1, 0, 1])
    }

    #[tokio::test(start_paused = true)]
    async fn a_register_is_answered_with_its_value_and_a_right_check() {
        let mut wire = plugged(Timing::default());
        let answer = ask(&mut wire, &read_setpoint(1)).await;
        assert_eq!(answer, sealed(vec![1, 3, 2, 0x13, 0x24]));
    }

    #[tokio::test(start_paused = true)]
    async fn another_unit_and_a_damaged_frame_get_silence_and_the_next_request_an_answer() {
        let mut wire = plugged(Timing::default());
        assert!(ask(&mut wire, &read_setpoint(3)).await.is_empty());
        let mut damaged = read_setpoint(1);
        damaged[3] ^= 0x10;
        assert!(ask(&mut wire, &damaged).await.is_empty());
        assert!(ask(&mut wire, &[0xA5; 25]).await.is_empty());
        assert_eq!(ask(&mut wire, &read_setpoint(1)).await.len(), 7);
    }

    #[tokio::test(start_paused = true)]
    async fn two_units_on_one_wire_answer_for_themselves() {
        let mut wire = plugged(Timing::default());
        assert_eq!(
            ask(&mut wire, &sealed(vec![1, 4, 0, 0, 0, 2])).await[1],
            0x84
        );
        let floats = ask(&mut wire, &sealed(vec![2, 3, 0, 0, 0, 2])).await;
        // 490.0 is 43F5 0000, low word first.
        assert_eq!(floats, sealed(vec![2, 3, 4, 0x00, 0x00, 0x43, 0xF5]));
    }

    #[tokio::test(start_paused = true)]
    async fn an_unknown_function_is_refused_after_the_line_is_silent() {
        let mut wire = plugged(Timing::default());
        let refused = ask(&mut wire, &sealed(vec![1, 0x2B, 0x0E, 0x01, 0x00])).await;
        assert_eq!(refused, sealed(vec![1, 0xAB, 1]));
    }

    #[tokio::test(start_paused = true)]
    async fn a_broadcast_is_obeyed_by_all_and_answered_by_none() {
        let mut wire = plugged(Timing::default());
        let everybody = sealed(vec![0, 16, 0, 0, 0, 2, 4, 0x00, 0x00, 0x43, 0xFA]);
        assert!(ask(&mut wire, &everybody).await.is_empty());
        let floats = ask(&mut wire, &sealed(vec![2, 3, 0, 0, 0, 2])).await;
        assert_eq!(floats[3..7], [0x00, 0x00, 0x43, 0xFA]);
    }

    #[tokio::test(start_paused = true)]
    async fn a_scripted_fault_strikes_one_exchange_and_spares_the_next() {
        let faults = Faults::new(1).at(1, Fault::Lost).at(2, Fault::Duplicated);
        let bus = Bus::new(vec![Unit::new(1, &Annealer, panel())]).with_faults(faults);
        let mut wire = in_memory(bus);
        let mut lengths = Vec::new();
        for _ in 0..4 {
            lengths.push(ask(&mut wire, &read_setpoint(1)).await.len());
        }
        assert_eq!(lengths, [7, 0, 14, 7]);
    }

    #[tokio::test(start_paused = true)]
    async fn at_a_baud_rate_the_answer_takes_its_time_on_the_wire() {
        let timing = Timing::at_baud(9600, Duration::from_millis(5));
        let mut wire = plugged(timing);
        let began = tokio::time::Instant::now();
        ask(&mut wire, &read_setpoint(1)).await;
        let took = began.elapsed();
        let least = timing.until_asked(8) + timing.on_the_wire(7);
        assert!(
            took >= least && took < least + Duration::from_millis(2),
            "{took:?}"
        );
    }

    /// A wire at 9600 baud whose first exchange has this fault, and that timing.
    fn plugged_with(fault: Fault, lateness: Duration) -> (DuplexStream, Timing) {
        let mut faults = Faults::new(1).at(0, fault);
        faults.lateness = lateness..=lateness;
        let mut bus = Bus::new(vec![Unit::new(1, &Annealer, panel())]).with_faults(faults);
        bus.timing = Timing::at_baud(9600, Duration::from_millis(5));
        let timing = bus.timing;
        (in_memory(bus), timing)
    }

    #[tokio::test(start_paused = true)]
    async fn a_doubled_answer_comes_without_a_silence_in_its_middle() {
        let (mut wire, timing) = plugged_with(Fault::Duplicated, Duration::ZERO);
        let began = Instant::now();
        let answer = ask(&mut wire, &read_setpoint(1)).await;
        let took = began.elapsed();
        let least = timing.until_asked(8) + timing.on_the_wire(14);
        assert_eq!(answer.len(), 14);
        assert!(
            took >= least && took < least + Duration::from_millis(2),
            "{took:?}"
        );
    }

    #[tokio::test(start_paused = true)]
    async fn no_answer_is_later_than_its_own_fault_makes_it_and_those_before_it_are() {
        let second = Duration::from_secs(1);
        let late = Faults::new(1).at(0, Fault::Late).at(1, Fault::Late);
        let mut faults = late.at(1, Fault::Noise);
        faults.lateness = second..=second;
        let bus = Bus::new(vec![Unit::new(1, &Annealer, panel())]);
        let mut wire = in_memory(bus.with_faults(faults));
        wire.write_all(&read_setpoint(1)).await.unwrap();
        tokio::time::sleep(second / 2).await;
        let began = Instant::now();
        wire.write_all(&read_setpoint(1)).await.unwrap();
        let mut came = Vec::new();
        while !came.ends_with(&sealed(vec![1, 3, 2, 0x13, 0x24])) || came.len() < 15 {
            came.extend(heard(&mut wire).await);
        }
        let took = began.elapsed();
        assert!(took < second + Duration::from_millis(50), "{took:?}");
    }

    #[tokio::test(start_paused = true)]
    async fn an_answer_behind_a_late_one_takes_its_own_time_on_the_wire() {
        let (mut wire, timing) = plugged_with(Fault::Late, Duration::from_millis(100));
        wire.write_all(&read_setpoint(1)).await.unwrap();
        let late = ask(&mut wire, &read_setpoint(1)).await;
        let began = Instant::now();
        let next = heard(&mut wire).await;
        assert_eq!([late.len(), next.len()], [7, 7]);
        let (took, least) = (began.elapsed(), timing.on_the_wire(7));
        assert!(
            took + Duration::from_millis(1) >= least,
            "{took:?} < {least:?}"
        );
    }

    #[tokio::test(start_paused = true)]
    async fn a_request_that_comes_too_soon_after_an_answer_is_missed() {
        let mut bus = Bus::new(vec![
            Unit::new(1, &StatusBits, panel()),
            Unit::new(2, &Locked, panel()),
        ]);
        bus.timing = Timing::at_baud(9600, Duration::ZERO);
        let mut wire = in_memory(bus);
        let read_pv = sealed(vec![1, 4, 0, 0, 0, 1]);
        let unlock = sealed(vec![2, 6, 0x20, 0xFF, 0x0A, 0xBA]);
        for (request, rest) in [
            (read_pv, StatusBits.rest()),
            (unlock, Locked.rest_after_write()),
        ] {
            for (pause, is_heard) in [(rest.mul_f64(0.95), false), (rest.mul_f64(1.05), true)] {
                wire.write_all(&request).await.unwrap();
                let mut answer = vec![0; if request[1] == 4 { 7 } else { 8 }];
                wire.read_exact(&mut answer).await.unwrap();
                tokio::time::sleep(pause).await;
                let again = ask(&mut wire, &request).await;
                assert_eq!(!again.is_empty(), is_heard, "{request:?} {pause:?}");
            }
        }
    }

    #[tokio::test(start_paused = true)]
    async fn the_same_seed_and_the_same_requests_give_the_same_bytes() {
        let run = || async {
            let mut wire = plugged(Timing::default());
            let mut bytes = Vec::new();
            for _ in 0..300 {
                bytes.extend(ask(&mut wire, &sealed(vec![1, 3, 0, 0, 0, 4])).await);
                tokio::time::sleep(Duration::from_secs(1)).await;
            }
            bytes
        };
        assert_eq!(run().await, run().await);
    }

    /// Each of the bytes that come within this time, and when it came.
    async fn overheard(wire: &mut DuplexStream, within: Duration) -> Vec<(Duration, Vec<u8>)> {
        let began = Instant::now();
        let mut came = Vec::new();
        let mut bytes = [0; 300];
        while let Ok(read) = tokio::time::timeout_at(began + within, wire.read(&mut bytes)).await {
            came.push((began.elapsed(), bytes[..read.unwrap()].to_vec()));
        }
        came
    }

    /// Closed form: 8 characters of 11 bits at 9600 baud are 9.17 ms, 5 ms of turnaround, 7 characters.
    #[tokio::test(start_paused = true)]
    async fn another_master_polls_on_its_grid_and_both_sides_of_it_are_heard() {
        let poll = |text: &str| text.parse::<Poll>().unwrap();
        let master = Master::new(vec![poll("1:3:1:1 every 500ms"), poll("9:3:0:2 every 2s")]);
        let mut bus = Bus::new(vec![Unit::new(1, &Annealer, panel())]).with_master(master);
        bus.timing = Timing::at_baud(9600, Duration::from_millis(5));
        let mut wire = in_memory(bus);
        let came = overheard(&mut wire, Duration::from_millis(1900)).await;
        let answer = sealed(vec![1, 3, 2, 0x13, 0x24]);
        let mut expected = vec![
            (9.17, read_setpoint(1)),
            (22.19, answer.clone()),
            // 3.5 characters later the other one, which nobody answers for 300 ms.
            (35.36, sealed(vec![9, 3, 0, 0, 0, 2])),
        ];
        for n in 1..4 {
            expected.push((500.0 * f64::from(n) + 9.17, read_setpoint(1)));
            expected.push((500.0 * f64::from(n) + 22.19, answer.clone()));
        }
        assert_eq!(came.len(), expected.len(), "{came:?}");
        for ((at, bytes), (at_ms, expected)) in came.iter().zip(expected) {
            assert_eq!(*bytes, expected);
            let late = at.as_secs_f64() * 1000.0 - at_ms;
            assert!((-0.1..3.0).contains(&late), "{bytes:?} at {at:?}");
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_master_waits_for_an_answer_until_its_time_is_over() {
        let faults = Faults::new(1).at(0, Fault::Lost);
        let every = Duration::from_millis(100);
        let master = Master::new(Poll::new(1, 3, 1, 1, every).into_iter().collect());
        let bus = Bus::new(vec![Unit::new(1, &Annealer, panel())]);
        let mut wire = in_memory(bus.with_master(master).with_faults(faults));
        let came = overheard(&mut wire, Duration::from_millis(460)).await;
        let lengths: Vec<usize> = came.iter().map(|(_, bytes)| bytes.len()).collect();
        // Two writes at one moment may be read together.
        assert_eq!(lengths.iter().sum::<usize>(), 8 + 2 * (8 + 7), "{came:?}");
        let second = came[1].0;
        assert!((300..=330).contains(&second.as_millis()), "{came:?}");
    }
}
