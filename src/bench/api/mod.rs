//! The HTTP API of a running bench [BA-01] [BA-08]: JSON, server-sent events, and a document that describes it.
//!
//! It has a thread of its own and gives [`super::Orders`] to the bench, which alone holds the world. What can be asked is one
//! table, `routes.rs`.

mod asked;
mod connection;
mod document;
mod given;
mod guard;
mod problem;
mod routes;
mod server;
mod shown;
#[cfg(test)]
mod slow;
mod stream;
#[cfg(test)]
mod tests;

pub use document::document;
pub use guard::{Token, why_not_listen};

use super::{BenchPlan, Orders};
use server::{Shared, listen};
use std::io;
use std::net::{SocketAddr, TcpListener};
use std::thread::JoinHandle;
use tokio::sync::oneshot;

/// Where the API listens unless told, on this machine alone.
pub const USUAL_PLACE: &str = "127.0.0.1:4620";

/// An API that is not served yet: its place is taken, so that what is wrong with it is told early.
pub struct Place {
    listener: TcpListener,
    at: SocketAddr,
    token: Option<Token>,
}

impl Place {
    /// Takes the place `at`; with port 0 the system chooses one. Ask [`why_not_listen`] first.
    ///
    /// # Errors
    /// It is taken, or none of this machine's; or others could reach it and there is no token.
    pub fn take(at: SocketAddr, token: Option<Token>) -> io::Result<Place> {
        if let Some((wrong, _)) = why_not_listen(at, token.is_some()) {
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, wrong));
        }
        let listener = TcpListener::bind(at)?;
        listener.set_nonblocking(true)?;
        Ok(Place { at: listener.local_addr()?, listener, token })
    }

    /// Where it is.
    pub fn at(&self) -> SocketAddr {
        self.at
    }

    /// Whether requests need a token.
    pub fn has_token(&self) -> bool {
        self.token.is_some()
    }

    /// Serves the bench that takes `orders`, until the gate is dropped.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn serve(self, plan: BenchPlan, orders: Orders) -> io::Result<Gate> {
        let (stop, stopped) = oneshot::channel();
        let shared = Shared { plan, orders, token: self.token };
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let listener = {
            let _inside = runtime.enter();
            tokio::net::TcpListener::from_std(self.listener)?
        };
        let thread = std::thread::Builder::new()
            .name("looprig-api".to_owned())
            .spawn(move || runtime.block_on(listen(listener, shared, stopped)))?;
        Ok(Gate { stop: Some(stop), thread: Some(thread) })
    }
}

/// An API that is served; dropping it ends it.
pub struct Gate {
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Drop for Gate {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
