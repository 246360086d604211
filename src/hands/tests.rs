//! Owners and hands in one process.

use std::path::Path;

use tempfile::tempdir;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::call::CallError;
use super::hold::{Hold, HoldError};
use super::owner::{Key, Owner};
use super::reach;
use super::serve::{Served, ServedLine, Server};
use crate::clock::{Clock, Stamp};
use crate::line::{Ask, Came};
use crate::map::{Address, Image, Table};
use crate::name::Name;
use crate::sample::{Entry, Event, Happening, Health, Why};
use crate::session::Hand;
use crate::setup::UnitId;

fn name(text: &str) -> Name {
    text.parse().unwrap()
}

#[test]
fn one_holds_it_and_the_next_is_told_who_until_it_is_given_up() {
    let (one, other) = (tempdir().unwrap(), tempdir().unwrap());
    let places = [one.path().to_owned(), other.path().to_owned()];
    let key = Key("port x".to_owned());
    let owner = Owner::this_process().serving(Some(Path::new("recordings/a")), None);
    let hold = Hold::take_in(&places, &key, &owner).unwrap();
    // Whoever knows only one of the places finds it too.
    for places in [&places[..], &places[1..]] {
        match Hold::take_in(places, &key, &Owner::this_process()) {
            Err(HoldError::Taken(Some(found))) => assert_eq!(found, owner),
            other => panic!("{other:?}"),
        }
    }
    assert!(Hold::take_in(&places, &Key("port y".to_owned()), &owner).is_ok());
    drop(hold);
    let hold = Hold::take_in(&places, &key, &owner).unwrap();
    drop(hold);
    assert!(!key.facts_in(one.path()).exists());
}

#[test]
fn the_word_of_one_that_was_killed_keeps_nobody_out() {
    let place = tempdir().unwrap();
    let key = Key("port x".to_owned());
    let text = serde_json::to_string(&Owner::this_process()).unwrap();
    std::fs::write(key.facts_in(place.path()), text).unwrap();
    let places = [place.path().to_owned()];
    assert!(Hold::take_in(&places, &key, &Owner::this_process()).is_ok());
    // Nor does one that nobody can read.
    std::fs::write(key.facts_in(place.path()), "{").unwrap();
    assert!(Hold::take_in(&places, &key, &Owner::this_process()).is_ok());
}

/// What came from a unit, with one word and one refusal.
fn came() -> Came {
    let mut image = Image::default();
    image.put_words(Table::Holding, Address(4), &[0xFFFE]);
    Came {
        image,
        failures: vec!["unit 2 refused\nhelp: look".to_owned()],
        answered: true,
        health: Health {
            of: name("top"),
            stamp: Stamp::default(),
            answered: 3,
            lost: vec![(Why::Refused(2), 1), (Why::NoAnswer, 2)],
            alternations: 0,
            answer_times: None,
            longest_silence: std::time::Duration::from_millis(2500),
            line_share: 0.25,
        },
    }
}

/// A line that answers everything with [`came`].
fn line() -> mpsc::Sender<Ask> {
    let (asks, mut asked) = mpsc::channel(4);
    tokio::spawn(async move {
        while let Some(ask) = asked.recv().await {
            if let Ask::Read(unit, reply) = ask {
                let missing = || Err("no such unit".to_owned());
                let answer = if unit.get() == 2 {
                    Ok(came())
                } else {
                    missing()
                };
                reply.send(answer).unwrap();
            }
        }
    });
    asks
}

#[tokio::test]
async fn an_owner_does_what_hands_ask() {
    let folder = tempdir().unwrap();
    let (entries, mut noted) = mpsc::channel(4);
    let port = Key("port x".to_owned());
    let served = Served {
        hand: Hand::new(&entries, Clock::starting_at(chrono::DateTime::UNIX_EPOCH)),
        loops: vec![name("top")],
        lines: vec![ServedLine {
            port: port.clone(),
            asks: line(),
        }],
    };
    let key = Key::recording(folder.path());
    assert!(reach(&key).await.is_none());
    let (server, stop) = (Server::open().unwrap(), CancellationToken::new());
    let owner = Owner::this_process().serving(None, Some(server.socket()));
    let _hold = Hold::take(&key, &owner).unwrap();
    let serving = tokio::spawn(server.run(served, stop.clone()));

    let mut reached = reach(&key).await.unwrap();
    assert_eq!(reached.owner, owner);
    let time = reached.mark(Some(&name("top")), "door \"opened\"").await;
    assert!(time.unwrap().starts_with("1970-01-01T00:00:0"));
    let Some(Entry::Event(Event { of, what, text, .. })) = noted.recv().await else {
        panic!("no mark");
    };
    assert_eq!((of, what), (Some(name("top")), Happening::Mark));
    assert_eq!(text, "door \"opened\"");
    let read = reached.read(&port, UnitId::new(2).unwrap()).await.unwrap();
    let expected = came();
    assert_eq!((read.image, read.health), (expected.image, expected.health));
    assert_eq!((read.failures, read.answered), (expected.failures, true));

    let refused = |error: CallError| match error {
        CallError::Refused(text) => text,
        CallError::Lost(text) => panic!("{text}"),
    };
    let unknown = reached.mark(Some(&name("base")), "x").await.unwrap_err();
    assert!(refused(unknown).contains("no loop 'base'"));
    let missing = reached.read(&port, UnitId::new(3).unwrap()).await;
    assert_eq!(refused(missing.unwrap_err()), "no such unit");
    let elsewhere = Key("port z".to_owned());
    let elsewhere = reached.read(&elsewhere, UnitId::new(2).unwrap()).await;
    assert!(refused(elsewhere.unwrap_err()).contains("port z is not polled here"));
    // The session ends: marks reach nobody, and then nobody is there.
    drop(entries);
    assert!(refused(reached.mark(None, "x").await.unwrap_err()).contains("ending"));
    stop.cancel();
    serving.await.unwrap();
    assert!(matches!(
        reached.mark(None, "x").await,
        Err(CallError::Lost(_))
    ));
    assert!(reach(&key).await.is_none());
}

#[cfg(unix)]
#[tokio::test]
async fn nobody_else_may_open_a_socket_and_nonsense_is_answered() {
    use std::os::unix::fs::PermissionsExt as _;
    use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};

    let server = Server::open().unwrap();
    let socket = server.socket().to_owned();
    let mode = std::fs::metadata(&socket).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let (entries, _noted) = mpsc::channel(4);
    let served = Served {
        hand: Hand::new(&entries, Clock::starting_at(chrono::DateTime::UNIX_EPOCH)),
        loops: Vec::new(),
        lines: Vec::new(),
    };
    let stop = CancellationToken::new();
    let serving = tokio::spawn(server.run(served, stop.clone()));
    let stream = tokio::net::UnixStream::connect(&socket).await.unwrap();
    let mut stream = BufReader::new(stream);
    for nonsense in [
        "",
        "{}",
        "[1]",
        "{\"mark\":{}}",
        "{\"read\":{\"port\":\"x\",\"unit\":0}}",
    ] {
        stream.write_all(nonsense.as_bytes()).await.unwrap();
        stream.write_all(b"\n").await.unwrap();
        let mut answer = String::new();
        stream.read_line(&mut answer).await.unwrap();
        assert!(
            answer.starts_with("{\"refused\":\"not understood"),
            "{answer}"
        );
    }
    // Without end is no question.
    stream.write_all(&vec![b'x'; 70_000]).await.unwrap();
    let mut rest = String::new();
    assert_eq!(stream.read_line(&mut rest).await.unwrap_or(0), 0, "{rest}");
    stop.cancel();
    serving.await.unwrap();
    assert!(!Path::new(&socket).exists());
}
