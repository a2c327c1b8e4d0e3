//! The page's door: connections of the browser, bounded in number and in patience, and the way they end.
//!
//! At the first wish to end (Ctrl-C, or being told by the system) nobody new is let in, connections on which nothing is asked are closed, and questions
//! under way have [`GRACE`] to be answered. A second wish ends that at once.

use super::output;
use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::io;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;

/// Connections at once; a browser opens six, and systems grant a program 1024 files. Others wait.
const MOST_CONNECTIONS: usize = 512;
/// A question's head must be here by then; a silent connection is closed, and the browser opens another when it asks again.
const HEAD_WITHIN: Duration = Duration::from_secs(30);
/// Bytes of a question's head: a browser sends one or two thousand.
const MOST_HEAD_BYTES: usize = 64 << 10;
/// What is under way at the end may take as long; longer, and one would take the program for stuck.
const GRACE: Duration = Duration::from_secs(5);
/// Pause after the system refuses a connection (no more files): trying at once would only fill a core.
const AFTER_REFUSAL: Duration = Duration::from_millis(200);

/// The wishes to end the program: Ctrl-C, or being told by the system.
pub(super) struct Wishes {
    #[cfg(unix)]
    interrupted: tokio::signal::unix::Signal,
    #[cfg(unix)]
    ended: tokio::signal::unix::Signal,
}

impl Wishes {
    /// From here on every wish is heard.
    #[cfg(unix)]
    pub(super) fn heard() -> io::Result<Wishes> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Wishes { interrupted: signal(SignalKind::interrupt())?, ended: signal(SignalKind::terminate())? })
    }

    /// From the first waiting on every wish is heard.
    #[cfg(not(unix))]
    pub(super) fn heard() -> io::Result<Wishes> {
        Ok(Wishes {})
    }

    /// Waits for the next wish.
    #[cfg(unix)]
    async fn next(&mut self) {
        tokio::select! {
            _ = self.interrupted.recv() => {}
            _ = self.ended.recv() => {}
        }
    }

    /// Waits for the next wish.
    #[cfg(not(unix))]
    async fn next(&mut self) {
        // Without a handler the system's own one ends the program, which is as good.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}

/// Serves until the wish to end.
pub(super) async fn listen(listener: TcpListener, router: Router, wishes: &mut Wishes) {
    let (closing, closed) = watch::channel(false);
    let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let mut open = JoinSet::new();
    loop {
        tokio::select! {
            () = wishes.next() => break,
            Some(_) = open.join_next() => {}
            (stream, place) = accepted(&listener, &places) => {
                open.spawn(talk(stream, router.clone(), closed.clone(), place));
            }
        }
    }
    drop(listener);
    let _ = closing.send(true);
    let all_answered = async { while open.join_next().await.is_some() {} };
    let hinted = async {
        tokio::time::sleep(Duration::from_millis(300)).await;
        output::message("Finishing what is under way (Ctrl-C again ends at once).");
        tokio::time::sleep(GRACE).await;
    };
    tokio::select! {
        () = all_answered => {}
        () = hinted => {}
        () = wishes.next() => {}
    }
}

/// The next connection, and its place among all.
async fn accepted(
    listener: &TcpListener,
    places: &Arc<Semaphore>,
) -> (TcpStream, Option<OwnedSemaphorePermit>) {
    let place = Arc::clone(places).acquire_owned().await.ok();
    loop {
        match listener.accept().await {
            Ok((stream, _)) => return (stream, place),
            Err(_) => tokio::time::sleep(AFTER_REFUSAL).await,
        }
    }
}

/// One connection to its end.
async fn talk(
    stream: TcpStream,
    router: Router,
    mut closing: watch::Receiver<bool>,
    _place: Option<OwnedSemaphorePermit>,
) {
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_buf_size(MOST_HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
    let mut connection = pin!(connection);
    // How a connection ends, well or not, is the browser's affair.
    tokio::select! {
        _ = connection.as_mut() => return,
        _ = closing.wait_for(|closing| *closing) => connection.as_mut().graceful_shutdown(),
    }
    let _ = connection.await;
}
