//! The page: a server on this computer that shows a plan, lets people try other values, and plans again.
//!
//! [`Desk`] holds the scratch copy and the HTML that was made of it, [`LedgerBoard`] an outage file; [`Server`] speaks to browsers. Everything is rendered
//! here; the script moves the focus, sends what is typed, and puts changed parts in.
//!
//! ```
//! use std::sync::Arc;
//! use gapwright::page::{Bounds, Desk, Server};
//! use gapwright::read::Sources;
//! use gapwright::scratch::Scratch;
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR"))?;
//! let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
//! let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
//! let scratch = Scratch::open(sources).expect("the sample has no problems");
//! // Planning may hold 2000 megabytes; port 0 is any that is free.
//! let server = Server::bind(Arc::new(Desk::new(scratch, 2_000)), 0, Bounds::default())?;
//! println!("{}", server.link()?);
//! let closer = server.closer();
//! std::thread::spawn(move || closer.close());
//! server.run(false)?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Decisions
//!
//! - Loopback, or TLS: nothing goes beyond this computer by plain HTTP. Other programs and other users of this computer are strangers all the
//!   same: the address that is printed has a code that is good once, and after it a cookie is asked for.
//! - A part of the page is sent again when its HTML is another one than before. No rule says what depends on what.
//! - An outage has one page where readings are booked and another where values are tried. A mode that one window sets
//!   would be a surprise in the others.
//! - Reading, planning and checking are done on threads of their own, never on those that serve.

mod asset;
mod bar;
mod beginning;
mod bench;
mod board;
mod bookings;
mod desk;
mod door;
mod drawers;
mod form;
mod frame;
mod gzip;
mod ledger;
mod named;
mod of_outage;
mod one_pump;
mod parts;
mod printing;
mod routes;
mod row;
mod running;
mod server;
mod shown;
mod slider;
mod study;
mod subject;
mod tls;

pub use desk::Desk;
pub use ledger::LedgerBoard;
pub use row::{Predicted, PumpRow, RowState, Shares, rows};
pub use server::{Beyond, Bounds, Closer, PageError, Server};
pub use shown::Beginning;
pub use subject::Subject;
pub use tls::{CertificateError, TlsCertificate};
