//! A thousand malformed requests: each is refused or answered, and afterwards all is as before.

use super::kinds::{Case, Expected, KINDS, Sent};
use super::seeded::Seeded;
use super::server::{COLLAR, Server};
use serde_json::{Value, json};
use std::io::Write;
use std::time::{Duration, Instant};

const REQUESTS: usize = 1000;
/// What the memory may grow from the 500th request to the 1,000th: what the allocator keeps of its largest pieces varies by some MiB between equal runs;
/// anything kept of every request, such as its body of up to 1 MiB, would be several times as much.
const MARGIN_KIB: u64 = 32 << 10;
/// Nothing that is asked here has an answer as long as this; the longest tells the fields of 1000 groups of pixels.
const MOST_ANSWER_BYTES: usize = 4 << 20;
/// No question may hold the server longer, not even the worst; the slowest here takes a fifth of it on an idle machine.
const LONGEST: Duration = Duration::from_secs(15);

/// The questions that must be answered the same before and after.
fn ordinary(server: &Server) -> Vec<Vec<u8>> {
    let question = json!({"text": COLLAR, "width_px": 192, "height_px": 108, "exposure_ev": 9.0, "page": "ordinary", "seq": 1});
    let mut answers: Vec<Vec<u8>> = ["/api/read", "/api/picture", "/api/numbers"]
        .map(|path| {
            let reply = server.ask(path, &question);
            assert_eq!(reply.status, 200, "{path}: {}", String::from_utf8_lossy(&reply.body));
            reply.body
        })
        .into();
    let start = server.get("/api/start");
    assert_eq!(start.status, 200);
    answers.push(start.body);
    answers
}

fn sent(server: &Server, case: &Case) -> Option<super::server::Reply> {
    match case.sent {
        Sent::Whole => server.sent(&case.bytes),
        Sent::ThenClosed => server.sent_and_closed(&case.bytes),
        Sent::ThenDropped(wait) => {
            let mut stream = server.connected();
            let _ = stream.write_all(&case.bytes);
            std::thread::sleep(wait);
            None
        }
    }
}

fn judged(kind: &str, case: &Case, reply: Option<super::server::Reply>) {
    let shown = || String::from_utf8_lossy(&case.bytes[..case.bytes.len().min(400)]).into_owned();
    let Some(reply) = reply else {
        assert_eq!(case.expected, Expected::ClosedOrRefused, "{kind}: no answer to\n{}", shown());
        return;
    };
    assert!(
        reply.body.len() < MOST_ANSWER_BYTES,
        "{kind}: {} bytes answered to\n{}",
        reply.body.len(),
        shown()
    );
    let body = String::from_utf8_lossy(&reply.body[..reply.body.len().min(400)]).into_owned();
    let fine = match case.expected {
        Expected::ClosedOrRefused | Expected::Refused => (400..500).contains(&reply.status),
        Expected::Answered => (200..300).contains(&reply.status) || (400..500).contains(&reply.status),
        Expected::Unusable => {
            (400..500).contains(&reply.status)
                || (reply.status == 200 && reply.json()["usable"] == Value::Bool(false))
        }
    };
    assert!(fine, "{kind}: {} {body}\nto\n{}", reply.status, shown());
    if (400..500).contains(&reply.status) && !reply.body.is_empty() {
        let told = reply.json();
        assert!(
            told["problems"][0]["what"].is_string() || told["stale"] == true,
            "{kind}: {} {body}",
            reply.status
        );
    }
}

#[test]
fn a_thousand_malformed_requests_leave_everything_as_it_was() {
    let mut server = Server::start();
    let before = ordinary(&server);
    let mut seeded = Seeded(20_261_128);
    let mut memory = Vec::new();
    let mut slowest = (Duration::ZERO, "");
    for i in 0..REQUESTS {
        let (kind, make) = KINDS[i % KINDS.len()];
        let case = make(&mut seeded, &server);
        let begun = Instant::now();
        let reply = sent(&server, &case);
        let took = begun.elapsed();
        if took > slowest.0 {
            slowest = (took, kind);
        }
        assert!(took < LONGEST, "{kind} held the server for {took:?}");
        judged(kind, &case, reply);
        if (i + 1) % (REQUESTS / 2) == 0 {
            memory.extend(server.figure("VmRSS"));
        }
    }
    println!("slowest: {slowest:?}; resident KiB after each half: {memory:?}");
    assert_eq!(ordinary(&server), before);
    assert!(server.is_alive());
    assert_eq!(server.told(), "", "nothing to say, least of all of a panic");
    match memory[..] {
        [first, second] => assert!(second <= first + MARGIN_KIB, "{memory:?}"),
        _ => println!("SKIPPED: this system tells no memory of a process in /proc"),
    }
}
