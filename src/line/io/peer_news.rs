//! What ports have to tell of those at their other ends.

use crate::ip::{ClientNews, ServerNews};
use core::fmt;

/// What a port has to tell of one of its peers: a listening TCP port [LI-12], and both ends of HART-IP.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PeerNews {
    /// It has connected.
    Came,
    /// It was not let in, or the system could not let it in.
    Refused {
        /// Why.
        why: String,
    },
    /// It has gone.
    Gone {
        /// Octets that were dropped as in [`PeerNews::Unheard`] and not told yet.
        unheard: u64,
        /// What the system said; empty if it closed its end as one should.
        said: String,
    },
    /// It sent while another peer had the word: what it sent is dropped.
    Unheard {
        /// Octets since this was told last, at least 1.
        octets: u64,
    },
    /// Of a client of a HART-IP server.
    Session {
        /// What.
        news: ServerNews,
        /// How many news were left out before this one, because there were too many.
        left_out: u64,
    },
    /// Of the HART-IP server whose client this is.
    Server(ClientNews),
    /// It did not take what passed and was disconnected.
    TooSlow {
        /// Octets that waited for it.
        waiting: usize,
        /// As with [`PeerNews::Gone`].
        unheard: u64,
    },
}

impl PeerNews {
    /// Whether something is wrong or lost, which even those are told who want nothing but results.
    pub fn is_trouble(&self) -> bool {
        match self {
            PeerNews::Came => false,
            PeerNews::Session { news, left_out } => news.is_trouble() || *left_out > 0,
            PeerNews::Server(news) => news.is_trouble(),
            PeerNews::Gone { unheard, said } => *unheard > 0 || !said.is_empty(),
            PeerNews::Refused { .. } | PeerNews::Unheard { .. } | PeerNews::TooSlow { .. } => true,
        }
    }
}

impl fmt::Display for PeerNews {
    /// To stand behind the peer's address and a colon.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PeerNews::Came => f.write_str("connected"),
            PeerNews::Refused { why } => write!(f, "not let in: {why}"),
            PeerNews::Gone { said, .. } if said.is_empty() => f.write_str("gone"),
            PeerNews::Gone { said, .. } => write!(f, "gone ({said})"),
            PeerNews::Unheard { octets } => {
                write!(f, "{octets} octets dropped: another peer has the word until it is silent")
            }
            PeerNews::Session { news, left_out: 0 } => news.fmt(f),
            PeerNews::Session { news: ServerNews::LeftOut, left_out } => {
                write!(f, "and others: {left_out} more news were left out, because there were too many")
            }
            PeerNews::Session { news, left_out } => {
                write!(f, "{news} ({left_out} more were left out before this)")
            }
            PeerNews::Server(news) => news.fmt(f),
            PeerNews::TooSlow { waiting, .. } => {
                write!(f, "disconnected: it does not take what passes, {waiting} octets wait for it")
            }
        }?;
        match self {
            PeerNews::Gone { unheard, .. } | PeerNews::TooSlow { unheard, .. } if *unheard > 0 => {
                write!(f, "; {unheard} more octets from it were dropped")
            }
            _ => Ok(()),
        }
    }
}
