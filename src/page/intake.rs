//! Taking in the bodies of questions: each bounded, all together bounded, in bounded time, and before they are built into values.
//!
//! A body of JSON grows when it is read: `[0,0,…` becomes sixteen times as large. So its values are counted first. Room for a body is held until its
//! question is answered, so that no number of questions that wait fills the memory.

use super::asked::Answer;
use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, StatusCode, header};
use serde_json::Value;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Bytes of all bodies together: one of the longest (photographs) and a browser's six ordinary ones.
pub const MOST_TOGETHER_BYTES: usize = 160 << 20;
/// Values in a question: colours of as many pixels as a scene may hold, with room. Each takes some 32 bytes, with its key up to 100.
pub const MOST_VALUES: usize = 200_000;
/// A body must have come by then; on one machine the longest takes a second.
const BODY_WITHIN: Duration = Duration::from_secs(60);
/// Bodies that may be longer than this come one after the other: one that waits is not read, and the others find room beside it.
const LONG_BYTES: usize = 8 << 20;
/// What room is counted in, so that it fits the counter of every system.
const GRAIN_BYTES: usize = 1 << 10;

/// Room for the bodies of all questions.
#[derive(Debug)]
pub struct Intake {
    room: Arc<Semaphore>,
    long: Arc<Semaphore>,
}

/// A body that was taken in; it holds its room.
#[derive(Debug)]
pub struct Taken {
    /// The bytes.
    pub body: Bytes,
    _room: OwnedSemaphorePermit,
    _long: Option<OwnedSemaphorePermit>,
}

impl Default for Intake {
    fn default() -> Intake {
        let room = Arc::new(Semaphore::new(MOST_TOGETHER_BYTES / GRAIN_BYTES));
        Intake { room, long: Arc::new(Semaphore::new(1)) }
    }
}

impl Intake {
    /// The body of a request of at most `most` bytes.
    ///
    /// # Errors
    /// The answer to a body that is too long, broken off, too slow, or too much beside all others.
    pub async fn taken(&self, request: Request, most: usize) -> Result<Taken, Answer> {
        // Without its length told a body may become the longest.
        let bytes = told_length(request.headers()).unwrap_or(most);
        if bytes > most {
            return Err(too_long());
        }
        let long = match most > LONG_BYTES {
            true => Arc::clone(&self.long).acquire_owned().await.ok(),
            false => None,
        };
        let grains = u32::try_from(bytes.div_ceil(GRAIN_BYTES).max(1)).unwrap_or(u32::MAX);
        let room = Arc::clone(&self.room).try_acquire_many_owned(grains).map_err(|_| {
            Answer::refused(503, "the page has too much to take in at once; try again when it has answered")
        })?;
        match tokio::time::timeout(BODY_WITHIN, Bytes::from_request(request, &())).await {
            Ok(Ok(body)) => Ok(Taken { body, _room: room, _long: long }),
            Ok(Err(fault)) if fault.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(too_long()),
            Ok(Err(_)) => Err(Answer::not_understood("the question broke off")),
            Err(_) => Err(Answer::refused(408, "the question took too long to come")),
        }
    }
}

fn told_length(headers: &HeaderMap) -> Option<usize> {
    headers.get(header::CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

fn too_long() -> Answer {
    Answer::refused(413, "this is more than the page takes at once")
}

/// A question from its text.
///
/// # Errors
/// The answer to what is no JSON, or holds too many values.
pub fn question(json: &[u8]) -> Result<Value, Answer> {
    if values(json) > MOST_VALUES {
        return Err(Answer::refused(413, "the question holds more values than the page takes at once"));
    }
    serde_json::from_slice(json).map_err(|_| Answer::not_understood("the question is not JSON"))
}

/// Values in a text of JSON at most, counted without building anything: what can begin one, outside of texts.
fn values(json: &[u8]) -> usize {
    let (mut values, mut in_text, mut escaped) = (1, false, false);
    for byte in json {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            b',' | b':' | b'[' | b'{' if !in_text => values += 1,
            _ => {}
        }
    }
    values
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::Body;

    fn request(bytes: usize) -> Request {
        let body = Body::from(vec![b' '; bytes]);
        Request::builder().header(header::CONTENT_LENGTH, bytes).body(body).expect("a request")
    }

    #[test]
    fn values_are_counted_outside_of_texts() {
        for (json, count) in
            [("7", 1), ("[1,2,3]", 4), (r#"{"a":"[1,2,3]","b":[]}"#, 6), (r#"{"a":"\"[,\\","b":2}"#, 5)]
        {
            assert_eq!(values(json.as_bytes()), count, "{json}");
        }
        let many = format!("[{}0]", "0,".repeat(MOST_VALUES));
        assert_eq!(question(many.as_bytes()).expect_err("too many").status, 413);
        assert_eq!(question(b"{").expect_err("broken").status, 400);
        assert_eq!(question(b"{\"a\":1}").expect("fine")["a"], 1);
    }

    #[test]
    fn all_bodies_together_are_bounded_until_they_are_answered() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a thread");
        runtime.block_on(async {
            let intake = Intake::default();
            let most = 1 << 20;
            assert_eq!(intake.taken(request(most + 1), most).await.expect_err("too long").status, 413);
            let mut held = Vec::new();
            let refused = loop {
                match intake.taken(request(most), most).await {
                    Ok(taken) => held.push(taken),
                    Err(answer) => break answer,
                }
                assert!(held.len() <= MOST_TOGETHER_BYTES / most, "more than all together");
            };
            assert_eq!((held.len(), refused.status), (MOST_TOGETHER_BYTES / most, 503));
            held.pop();
            assert!(intake.taken(request(most), most).await.is_ok(), "what was answered makes room");
        });
    }
}
