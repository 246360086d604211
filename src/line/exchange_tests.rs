//! What a unit may do to an exchange, and what comes of it.

use tokio::io::DuplexStream;

use super::*;
use crate::line::frame::Framing;
use crate::setup::{Parity, Port, StopBits};

const SECOND: Duration = Duration::from_secs(1);

/// An exchange at 9600 baud and the other end of its wire.
fn exchange() -> (Exchange, DuplexStream) {
    exchange_at(9600)
}

fn exchange_at(baud: u32) -> (Exchange, DuplexStream) {
    let (ours, theirs) = tokio::io::duplex(4096);
    let port = Port::Serial {
        path: String::new(),
        baud,
        parity: Parity::Even,
        stop_bits: StopBits::One,
    };
    let pace = Pace::of(&port);
    (Exchange::new(Box::new(ours), pace, SECOND / 2), theirs)
}

fn unit() -> UnitId {
    UnitId::new(1).unwrap()
}

fn answer(words: &[u16]) -> Vec<u8> {
    let mut pdu = vec![3, 2 * words.len() as u8];
    pdu.extend(words.iter().flat_map(|word| word.to_be_bytes()));
    wrap(Framing::Rtu, unit(), &pdu, 0)
}

async fn hear(wire: &mut DuplexStream) -> Vec<u8> {
    let mut frame = [0; 8];
    wire.read_exact(&mut frame).await.unwrap();
    frame.to_vec()
}

async fn ask_for(exchange: &mut Exchange, address: u16, count: u16) -> Result<Response, Failure> {
    ask_for_block(exchange, address, count, true).await
}

async fn ask_for_block(
    exchange: &mut Exchange,
    address: u16,
    count: u16,
    is_unique: bool,
) -> Result<Response, Failure> {
    let request = Request::ReadHoldingRegisters(address, count);
    let patience = Instant::now() + 10 * SECOND;
    exchange
        .ask(unit(), &request, is_unique, &Access::default(), patience)
        .await
}

fn words(words: &[u16]) -> Response {
    Response::ReadHoldingRegisters(words.to_vec())
}

#[tokio::test(start_paused = true)]
async fn an_answer_in_pieces_behind_garbage_is_put_together() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        hear(&mut wire).await;
        for byte in [&[0x01, 0x03, 0xFF], answer(&[253]).as_slice()].concat() {
            wire.write_all(&[byte]).await.unwrap();
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        hear(&mut wire).await;
    });
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[253])));
}

#[tokio::test(start_paused = true)]
async fn the_reasons_are_told_apart() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        let mut damaged = answer(&[7]);
        damaged[4] ^= 1;
        let foreign = wrap(Framing::Rtu, UnitId::new(9).unwrap(), &[3, 2, 0, 7], 0);
        let refused = wrap(Framing::Rtu, unit(), &[0x83, 2], 0);
        let gateway = wrap(Framing::Rtu, unit(), &[0x83, 0x0B], 0);
        for reply in [vec![], damaged, foreign, refused, gateway] {
            hear(&mut wire).await;
            wire.write_all(&reply).await.unwrap();
        }
        tokio::time::sleep(SECOND).await;
    });
    let foreign = Failure::Foreign {
        unit: 9,
        function: 3,
    };
    for expected in [
        Failure::NoAnswer,
        Failure::Damaged,
        foreign,
        Failure::Refused(2),
        Failure::BehindGateway(0x0B),
    ] {
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(expected));
    }
    let closed = ask_for(&mut exchange, 0, 1).await.unwrap_err();
    assert!(matches!(closed, Failure::PortLost(_)), "{closed:?}");
}

#[tokio::test(start_paused = true)]
async fn fewer_or_more_words_than_were_asked_for_are_damage_however_sound_the_frame() {
    for other in [&[][..], &[1, 2], &[1, 2, 3, 4]] {
        let (mut exchange, mut wire) = exchange();
        let reply = answer(other);
        tokio::spawn(async move {
            hear(&mut wire).await;
            wire.write_all(&reply).await.unwrap();
            tokio::time::sleep(SECOND).await;
        });
        let came = ask_for(&mut exchange, 0, 3).await;
        assert_eq!(came, Err(Failure::Damaged), "{other:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn a_late_answer_is_never_taken_for_the_next_request_of_the_same_shape() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        hear(&mut wire).await;
        tokio::time::sleep(SECOND + SECOND / 2).await;
        wire.write_all(&answer(&[1])).await.unwrap();
        hear(&mut wire).await;
        wire.write_all(&answer(&[2])).await.unwrap();
        hear(&mut wire).await;
    });
    assert_eq!(ask_for(&mut exchange, 1, 1).await, Err(Failure::NoAnswer));
    assert_eq!(ask_for(&mut exchange, 2, 1).await, Ok(words(&[2])));
}

#[tokio::test(start_paused = true)]
async fn a_fence_lets_a_unit_be_asked_again_as_soon_as_it_returns_the_number() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        hear(&mut wire).await;
        wire.write_all(&answer(&[0])).await.unwrap();
        // The second answer is late: it comes in front of the fence's.
        hear(&mut wire).await;
        let fence = hear(&mut wire).await;
        assert_eq!(fence[..4], [1, DIAGNOSTICS, 0, 0]);
        wire.write_all(&answer(&[1])).await.unwrap();
        wire.write_all(&fence).await.unwrap();
        hear(&mut wire).await;
        wire.write_all(&answer(&[2])).await.unwrap();
        hear(&mut wire).await;
    });
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[0])));
    assert_eq!(ask_for(&mut exchange, 1, 1).await, Err(Failure::NoAnswer));
    let began = Instant::now();
    assert_eq!(ask_for(&mut exchange, 2, 1).await, Ok(words(&[2])));
    assert!(began.elapsed() < SECOND, "{:?}", began.elapsed());
}

#[tokio::test(start_paused = true)]
async fn a_request_that_was_given_up_half_way_leaves_the_unit_suspect() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        hear(&mut wire).await;
        tokio::time::sleep(SECOND / 5).await;
        wire.write_all(&answer(&[1])).await.unwrap();
        hear(&mut wire).await;
        wire.write_all(&answer(&[2])).await.unwrap();
        hear(&mut wire).await;
    });
    let given_up = tokio::time::timeout(SECOND / 10, ask_for(&mut exchange, 1, 1)).await;
    assert!(given_up.is_err());
    assert_eq!(ask_for(&mut exchange, 2, 1).await, Ok(words(&[2])));
}

#[tokio::test(start_paused = true)]
async fn an_adapters_echo_is_taken_off_and_no_fence_is_built_on_it() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        for reply in [Some(5), None, Some(6)] {
            let request = hear(&mut wire).await;
            assert_eq!(request[1], 3, "an echoed fence proves nothing");
            wire.write_all(&request).await.unwrap();
            if let Some(word) = reply {
                wire.write_all(&answer(&[word])).await.unwrap();
            }
        }
        hear(&mut wire).await;
    });
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[5])));
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(Failure::NoAnswer));
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[6])));
}

#[tokio::test(start_paused = true)]
async fn an_echo_behind_noise_is_an_echo_and_no_fence_is_built_on_it() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        for reply in [Some(5), None, Some(6)] {
            let request = hear(&mut wire).await;
            assert_eq!(request[1], 3, "an echoed fence proves nothing");
            wire.write_all(&[0x00]).await.unwrap();
            wire.write_all(&request).await.unwrap();
            if let Some(word) = reply {
                wire.write_all(&answer(&[word])).await.unwrap();
            }
        }
        hear(&mut wire).await;
    });
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[5])));
    assert!(ask_for(&mut exchange, 0, 1).await.is_err());
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[6])));
}

#[tokio::test(start_paused = true)]
async fn the_echo_of_a_read_of_coils_is_not_its_answer_though_it_has_its_shape() {
    let (mut exchange, mut wire) = exchange();
    // 01 01 03 .. .. 18 and a checksum is also an answer with three bytes of coils.
    let request = Request::ReadCoils(0x0300, 24);
    tokio::spawn(async move {
        let request = hear(&mut wire).await;
        wire.write_all(&request).await.unwrap();
        tokio::time::sleep(SECOND / 10).await;
        let coils = wrap(Framing::Rtu, unit(), &[1, 3, 0xFF, 0, 0], 0);
        wire.write_all(&coils).await.unwrap();
        hear(&mut wire).await;
    });
    let patience = Instant::now() + SECOND;
    let answer = exchange
        .ask(unit(), &request, true, &Access::default(), patience)
        .await;
    let on = |bit: usize| bit < 8;
    assert_eq!(answer, Ok(Response::ReadCoils((0..24).map(on).collect())));
}

#[tokio::test(start_paused = true)]
async fn an_answer_that_comes_through_a_reopened_port_is_not_taken_for_a_newer_one() {
    let (mut before, mut wire) = exchange();
    assert_eq!(ask_for(&mut before, 0, 1).await, Err(Failure::NoAnswer));
    hear(&mut wire).await;
    let (reopened, mut wire) = exchange();
    let mut reopened = reopened.remembering(before.into_memory());
    tokio::spawn(async move {
        tokio::time::sleep(SECOND).await;
        wire.write_all(&answer(&[1])).await.unwrap();
        hear(&mut wire).await;
        wire.write_all(&answer(&[2])).await.unwrap();
        hear(&mut wire).await;
    });
    assert_eq!(ask_for(&mut reopened, 0, 1).await, Ok(words(&[2])));
}

#[tokio::test(start_paused = true)]
async fn a_unit_that_was_busy_or_late_when_it_was_fenced_is_fenced_again() {
    let (mut exchange, mut wire) = exchange();
    let fences = tokio::spawn(async move {
        let mut fences = 0;
        hear(&mut wire).await;
        wire.write_all(&answer(&[0])).await.unwrap();
        for busy in [true, false] {
            // Lost, then a fence that is refused for now or not answered at all.
            hear(&mut wire).await;
            fences += u32::from(hear(&mut wire).await[1] == DIAGNOSTICS);
            if busy {
                let refusal = wrap(Framing::Rtu, unit(), &[DIAGNOSTICS | 0x80, BUSY], 0);
                wire.write_all(&refusal).await.unwrap();
                let fence = hear(&mut wire).await;
                wire.write_all(&fence).await.unwrap();
                hear(&mut wire).await;
                wire.write_all(&answer(&[1])).await.unwrap();
            }
        }
        fences
    });
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[0])));
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(Failure::NoAnswer));
    assert_eq!(
        ask_for(&mut exchange, 0, 1).await,
        Err(Failure::Refused(BUSY))
    );
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[1])));
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(Failure::NoAnswer));
    assert!(ask_for(&mut exchange, 0, 1).await.is_err());
    assert_eq!(fences.await.unwrap(), 2);
}

#[tokio::test(start_paused = true)]
async fn a_line_that_is_never_silent_is_given_up_with_a_reason() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        loop {
            wire.write_all(&[0x55]).await.unwrap();
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
    });
    let began = Instant::now();
    assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(Failure::Damaged));
    assert!(began.elapsed() < SECOND, "{:?}", began.elapsed());
}

#[tokio::test(start_paused = true)]
async fn a_late_answer_that_is_heard_while_another_unit_is_asked_sets_its_unit_free() {
    let (mut exchange, mut wire) = exchange();
    let other = UnitId::new(2).unwrap();
    let late = answer(&[7]);
    tokio::spawn(async move {
        hear(&mut wire).await;
        hear(&mut wire).await;
        let own = wrap(Framing::Rtu, other, &[3, 4, 0, 1, 0, 2], 0);
        wire.write_all(&[late, own].concat()).await.unwrap();
        std::future::pending::<()>().await;
    });
    let (one, two) = (
        Request::ReadHoldingRegisters(0, 1),
        Request::ReadHoldingRegisters(0, 2),
    );
    let patience = Instant::now() + SECOND;
    let access = Access::default();
    // Another block has this one's length: no fence will do.
    let lost = exchange.ask(unit(), &one, false, &access, patience).await;
    assert_eq!(lost, Err(Failure::NoAnswer));
    let answered = exchange.ask(other, &two, true, &access, patience).await;
    assert_eq!(answered, Ok(words(&[1, 2])));
    let free = exchange.can_ask_from(unit()).unwrap();
    assert!(free <= Instant::now() + SECOND / 2, "{free:?}");
}

#[tokio::test(start_paused = true)]
async fn a_gateways_word_that_a_unit_did_not_answer_sets_it_not_free() {
    let (mut exchange, mut wire) = exchange();
    tokio::spawn(async move {
        hear(&mut wire).await;
        let word = wrap(Framing::Rtu, unit(), &[0x83, 0x0B], 0);
        wire.write_all(&word).await.unwrap();
        std::future::pending::<()>().await;
    });
    let began = Instant::now();
    let lost = ask_for_block(&mut exchange, 0, 1, false).await;
    assert_eq!(lost, Err(Failure::BehindGateway(0x0B)));
    let free = exchange.can_ask_from(unit()).unwrap();
    assert!(free >= began + Access::default().late_at_most, "{free:?}");
}

/// 3.5 characters of 11 bits: 32.08 ms at 1200 baud (Modbus over Serial Line V1.02, 2.5.1.1).
#[tokio::test(start_paused = true)]
async fn after_a_failure_the_silence_that_ends_a_frame_is_kept_at_slow_rates_too() {
    // 15 characters of request and answer, and half a second between them, are just not over.
    for (baud, breaks_off_ms, quiet_ms) in [(1200, 635, 32), (19_200, 506, 20)] {
        let (mut exchange, mut wire) = exchange_at(baud);
        let broken_off = tokio::spawn(async move {
            hear(&mut wire).await;
            tokio::time::sleep(Duration::from_millis(breaks_off_ms)).await;
            wire.write_all(&answer(&[7])[..4]).await.unwrap();
            (Instant::now(), wire)
        });
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(Failure::Damaged));
        let (at, _wire) = broken_off.await.unwrap();
        let quiet = at.elapsed();
        assert!(
            quiet >= Duration::from_millis(quiet_ms),
            "{baud}: {quiet:?}"
        );
    }
}
