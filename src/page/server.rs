//! The server: connections bounded in number, in time and in size, until it is told to close.

use std::collections::HashMap;
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use thiserror::Error;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Notify, watch};
use tokio_rustls::TlsAcceptor;

use super::door::{Door, Scheme};
use super::routes::{House, closed, router};
use super::shown::{Beginning, Shown};
use super::subject::Subject;
use super::tls::TlsCertificate;

/// Bounds of the server.
#[derive(Debug, Clone)]
pub struct Bounds {
    /// Time for the head of a request.
    pub head: Duration,
    /// Time for a request after its head, its body included.
    pub answer: Duration,
    /// Largest body, in bytes.
    pub body: usize,
    /// Connections at a time.
    pub seats: usize,
    /// Connections at a time from one address.
    pub seats_each: usize,
    /// Time for which a code is good.
    pub code_good: Duration,
    /// Wrong codes a minute.
    pub wrong_codes: u32,
    /// Time between looks at the workbooks on the disk.
    pub disk: Duration,
}

impl Default for Bounds {
    fn default() -> Bounds {
        Bounds {
            head: Duration::from_secs(10),
            answer: Duration::from_secs(30),
            body: 2 * 1024 * 1024,
            seats: 256,
            seats_each: 64,
            code_good: Duration::from_secs(600),
            wrong_codes: 20,
            disk: Duration::from_secs(2),
        }
    }
}

/// Failure to serve the page.
#[derive(Debug, Error)]
pub enum PageError {
    /// The address is not one of this computer.
    #[error("{0} is no address of this computer")]
    Elsewhere(IpAddr),
    /// The port cannot be had.
    #[error("port {port} of this computer cannot be had: {error}")]
    Port {
        /// Port that was asked for; 0 for any.
        port: u16,
        /// Reason.
        error: io::Error,
    },
    /// The system gives no threads.
    #[error("the page could not be started: {0}")]
    Threads(io::Error),
    /// The system gives no random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(String),
}

/// Largest head of a request, in bytes and in headers.
const HEAD: usize = 64 * 1024;
const HEADERS: usize = 64;
/// Time for answers under way when the server closes.
const PARTING: Duration = Duration::from_secs(2);

/// The page, bound to a port of this computer.
pub struct Server {
    listener: std::net::TcpListener,
    at: SocketAddr,
    house: House,
    close: Arc<watch::Sender<bool>>,
    tls: Option<TlsAcceptor>,
}

/// Address beyond this computer, under a certificate.
#[derive(Clone)]
pub struct Beyond {
    /// Address of this computer to listen at.
    pub address: IpAddr,
    /// Name by which browsers may call it beside the address.
    pub name: Option<String>,
    /// TlsCertificate.
    pub certificate: TlsCertificate,
}

/// Tells a server to close.
#[derive(Clone)]
pub struct Closer(Arc<watch::Sender<bool>>);

impl Closer {
    /// Closes: the port at once, answers under way in a moment.
    pub fn close(&self) {
        self.0.send_replace(true);
    }
}

impl Server {
    /// Binds a port of this computer, 0 for any that is free, which nobody beyond it can reach.
    ///
    /// # Errors
    /// [`PageError::Port`].
    pub fn bind(
        subject: impl Into<Subject>,
        port: u16,
        bounds: Bounds,
    ) -> Result<Server, PageError> {
        let address = Ipv4Addr::LOCALHOST.into();
        Server::at_address(subject.into(), (address, port), Scheme::Http, bounds)
    }

    /// Binds a port of an address of this computer, and serves TLS alone there.
    ///
    /// # Errors
    /// [`PageError::Elsewhere`], [`PageError::Port`].
    pub fn beyond(
        subject: impl Into<Subject>,
        beyond: &Beyond,
        port: u16,
        bounds: Bounds,
    ) -> Result<Server, PageError> {
        let scheme = Scheme::Https(beyond.name.clone());
        let mut server =
            Server::at_address(subject.into(), (beyond.address, port), scheme, bounds)?;
        server.tls = Some(beyond.certificate.acceptor());
        Ok(server)
    }

    fn at_address(
        subject: Subject,
        (address, port): (IpAddr, u16),
        scheme: Scheme,
        bounds: Bounds,
    ) -> Result<Server, PageError> {
        let failed = |error: io::Error| match error.kind() {
            io::ErrorKind::AddrNotAvailable => PageError::Elsewhere(address),
            _ => PageError::Port { port, error },
        };
        let listener = std::net::TcpListener::bind((address, port)).map_err(failed)?;
        listener.set_nonblocking(true).map_err(failed)?;
        let at = listener.local_addr().map_err(failed)?;
        let (close, closing) = watch::channel(false);
        let door = Arc::new(Door::new(at, scheme, &bounds));
        let (shown, wanted) = (Shown::new(subject), Arc::new(Notify::new()));
        let house = House { shown, mode: None, door, bounds, wanted, closing };
        Ok(Server { listener, at, house, close: Arc::new(close), tls: None })
    }

    /// With a way to begin an outage file on the page.
    #[must_use]
    pub fn with_beginning(mut self, beginning: Arc<Beginning>) -> Server {
        self.house.shown.beginning = Some(beginning);
        self
    }

    /// Address, with a code that lets one browser in.
    ///
    /// # Errors
    /// [`PageError::Random`].
    pub fn link(&self) -> Result<String, PageError> {
        self.house.door.link()
    }

    /// Address and port.
    pub fn at(&self) -> SocketAddr {
        self.at
    }

    /// Means to close it.
    pub fn closer(&self) -> Closer {
        Closer(self.close.clone())
    }

    /// Serves until it is closed, by its closer or, if `signals`, by Ctrl-C or the system's request to end.
    ///
    /// # Errors
    /// [`PageError::Threads`], [`PageError::Port`].
    pub fn run(self, signals: bool) -> Result<(), PageError> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .max_blocking_threads(16)
            .enable_all()
            .build()
            .map_err(PageError::Threads)?;
        let shown = self.house.shown.clone();
        let ended = runtime.block_on(self.serve(signals));
        shown.now().stop();
        runtime.shutdown_timeout(PARTING);
        ended
    }

    async fn serve(self, signals: bool) -> Result<(), PageError> {
        let port = self.at.port();
        let listener = TcpListener::from_std(self.listener);
        let listener = listener.map_err(|error| PageError::Port { port, error })?;
        if signals {
            let closer = Closer(self.close.clone());
            tokio::spawn(async move {
                asked_to_end().await;
                closer.close();
            });
        }
        tokio::spawn(plan(self.house.clone()));
        tokio::spawn(look_at_disk(self.house.clone()));
        accept(listener, self.tls, self.house).await;
        Ok(())
    }
}

#[cfg(unix)]
async fn asked_to_end() {
    use tokio::signal::unix::{SignalKind, signal};
    let Ok(mut ended) = signal(SignalKind::terminate()) else {
        let _ = tokio::signal::ctrl_c().await;
        return;
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = ended.recv() => {}
    }
}

#[cfg(not(unix))]
async fn asked_to_end() {
    let _ = tokio::signal::ctrl_c().await;
}

/// Plans whenever the values changed, one plan at a time, away from the threads that serve.
async fn plan(house: House) {
    let mut closing = house.closing.clone();
    loop {
        let [subject, told] = [(), ()].map(|()| house.shown.now());
        // A plan that panics is a defect; the page goes on and says so.
        if tokio::task::spawn_blocking(move || subject.plan()).await.is_err() {
            let _ = tokio::task::spawn_blocking(move || told.failed()).await;
        }
        tokio::select! {
            () = closed(&mut closing) => return,
            () = house.wanted.notified() => {}
        }
    }
}

async fn look_at_disk(house: House) {
    let mut closing = house.closing.clone();
    loop {
        tokio::select! {
            () = closed(&mut closing) => return,
            () = tokio::time::sleep(house.bounds.disk) => {}
        }
        let subject = house.shown.now();
        let _ = tokio::task::spawn_blocking(move || subject.look_at_disk()).await;
    }
}

/// Connections of each address.
#[derive(Default)]
struct Seats(Mutex<HashMap<IpAddr, usize>>);

/// Seat of a connection, given back when it ends.
struct Seat {
    seats: Arc<Seats>,
    peer: IpAddr,
}

impl Seats {
    fn take(self: &Arc<Seats>, peer: IpAddr, bounds: &Bounds) -> Option<Seat> {
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = taken.values().sum();
        let own = taken.entry(peer).or_default();
        if all >= bounds.seats || *own >= bounds.seats_each {
            return None;
        }
        *own += 1;
        Some(Seat { seats: self.clone(), peer })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut taken = self.seats.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(own) = taken.get_mut(&self.peer) {
            *own -= 1;
            if *own == 0 {
                taken.remove(&self.peer);
            }
        }
    }
}

async fn accept(listener: TcpListener, tls: Option<TlsAcceptor>, house: House) {
    let (seats, mut closing) = (Arc::new(Seats::default()), house.closing.clone());
    let app = router(house.clone());
    let mut talks = tokio::task::JoinSet::new();
    loop {
        let next = tokio::select! {
            () = closed(&mut closing) => break,
            Some(_) = talks.join_next() => continue,
            next = listener.accept() => next,
        };
        let Ok((stream, peer)) = next else {
            // Out of file handles, or the caller is gone already: neither ends the server.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        // Without a seat the connection is closed at once.
        if let Some(seat) = seats.take(peer.ip(), &house.bounds) {
            let service = TowerToHyperService::new(app.clone());
            let times = (house.bounds.head, house.closing.clone());
            talks.spawn(greet(stream, tls.clone(), service, times, seat));
        }
    }
    drop(listener);
    let _ =
        tokio::time::timeout(PARTING, async { while talks.join_next().await.is_some() {} }).await;
}

/// Speaks to a browser: under TLS once it has shaken hands, in the time that a head has.
async fn greet(
    stream: TcpStream,
    tls: Option<TlsAcceptor>,
    service: TowerToHyperService<axum::Router>,
    (head, mut closing): (Duration, watch::Receiver<bool>),
    _seat: Seat,
) {
    let _ = stream.set_nodelay(true);
    let Some(tls) = tls else { return talk(stream, service, head, closing).await };
    tokio::select! {
        () = closed(&mut closing) => {}
        shaken = tokio::time::timeout(head, tls.accept(stream)) => {
            if let Ok(Ok(stream)) = shaken {
                talk(stream, service, head, closing).await;
            }
        }
    }
}

async fn talk<S: AsyncRead + AsyncWrite + Unpin>(
    stream: S,
    service: TowerToHyperService<axum::Router>,
    head: Duration,
    mut closing: watch::Receiver<bool>,
) {
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(head).max_headers(HEADERS).max_buf_size(HEAD);
    let mut talk = std::pin::pin!(http.serve_connection(TokioIo::new(stream), service));
    tokio::select! {
        _ = talk.as_mut() => {}
        () = closed(&mut closing) => {
            talk.as_mut().graceful_shutdown();
            let _ = tokio::time::timeout(PARTING, talk).await;
        }
    }
}
