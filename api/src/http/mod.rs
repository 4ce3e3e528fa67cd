//! The HTTP edge: the router, and what every answer carries.
//!
//! `/graphql` follows GraphQL over HTTP (`graphql.rs`), for subscriptions a WebSocket (`live`); everything else that
//! fails is problem details (`problem.rs`). What stays true: no answer is stored by anybody, no other site is invited to read one,
//! every answer carries the id under which the log speaks of it, and no secret of a path reaches the log.

mod asked;
mod attachments;
mod bank_statement;
mod body;
mod brief;
mod caller;
mod claims;
mod csv_upload;
mod documents;
mod estimate_link;
mod graphql;
mod health;
mod live;
mod media;
mod origin;
mod payer_advice;
mod pictures;
mod price_list;
mod problem;
mod recalls;
mod reports;
mod stamp;

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use actix_web::dev::Server;
use actix_web::middleware::{Compress, DefaultHeaders, from_fn};
use actix_web::web::{self, Data};
use actix_web::{App as ActixApp, HttpRequest, HttpServer, guard};
use tokio::runtime::Handle;
use tokio::sync::watch;
use tracing_actix_web::TracingLogger;

use crate::base::App;
use crate::base::config::{Config, Mode};
use crate::graphql::schema::{self, Schema};
use crate::graphql::variables::Inputs;

/// How long running requests may take to finish after the server was asked to end.
const SHUTDOWN_SECONDS: u64 = 30;
/// How long a client may take to send the head of a request.
const HEAD_TIMEOUT: Duration = Duration::from_secs(10);

/// What all handlers share.
pub struct Shared {
    app: Arc<App>,
    schema: Schema,
    inputs: Inputs,
    /// Where requests are resolved. The threads that listen have the small stacks of their library.
    runtime: Handle,
    seats: live::Seats,
    pace: live::Pace,
    /// Says true once the server was asked to end; `/readyz` then says no, and live connections are closed.
    pub leaving: watch::Sender<bool>,
}

impl Shared {
    /// Builds the schema. Requests are resolved in the runtime that this is called in; without one it panics.
    ///
    /// # Errors
    /// When the schema's own text cannot be read back, which only a mistake in it can do.
    pub fn new(app: Arc<App>) -> Result<Data<Self>, async_graphql::parser::Error> {
        Self::with_pace(app, live::Pace::default())
    }

    fn with_pace(
        app: Arc<App>,
        pace: live::Pace,
    ) -> Result<Data<Self>, async_graphql::parser::Error> {
        let schema = schema::build(&app);
        let inputs = Inputs::read(&schema::sdl())?;
        Ok(Data::new(Self {
            app,
            schema,
            inputs,
            runtime: Handle::current(),
            seats: live::Seats::default(),
            pace,
            leaving: watch::Sender::new(false),
        }))
    }

    /// The network address a request came from: what our proxy says, or the other end of the connection.
    fn client_of(&self, request: &HttpRequest) -> Option<String> {
        let peer = || request.peer_addr().map(|peer| peer.ip().to_string());
        if !self.app.config.behind_proxy {
            return peer();
        }
        // A client may send this header too; our proxy's entry is the last.
        let named = request.headers().get_all("X-Forwarded-For").last();
        named
            .and_then(|named| named.to_str().ok())
            .and_then(|named| named.rsplit(',').next())
            .and_then(|last| last.trim().parse::<IpAddr>().ok())
            .map_or_else(peer, |address| Some(address.to_string()))
    }
}

/// Binds the address of the configuration; the server runs when the returned future is polled.
///
/// # Errors
/// When the address cannot be bound.
pub fn bind(shared: &Data<Shared>) -> std::io::Result<(Server, SocketAddr)> {
    bind_to(&shared.app.config.listen, shared)
}

fn bind_to(listen: &str, shared: &Data<Shared>) -> std::io::Result<(Server, SocketAddr)> {
    let shared = shared.clone();
    let server = HttpServer::new(move || {
        let config = &shared.app.config;
        ActixApp::new()
            .app_data(shared.clone())
            .wrap(Compress::default())
            .wrap(from_fn(stamp::stamp))
            .wrap(TracingLogger::<stamp::Span>::new())
            .wrap(headers(config))
            .configure(|routes| configure(routes, config.mode))
    })
    .client_request_timeout(HEAD_TIMEOUT)
    .shutdown_timeout(SHUTDOWN_SECONDS)
    .disable_signals()
    .bind(listen)?;
    let address = server
        .addrs()
        .first()
        .copied()
        .ok_or_else(|| std::io::Error::other("no address was bound"))?;
    Ok((server.run(), address))
}

fn configure(routes: &mut web::ServiceConfig, mode: Mode) {
    routes
        .route("/livez", web::get().to(health::livez))
        .route("/readyz", web::get().to(health::readyz))
        .configure(estimate_link::routes)
        .configure(price_list::routes)
        .configure(bank_statement::routes)
        .configure(payer_advice::routes)
        .configure(recalls::routes)
        .configure(attachments::routes)
        .configure(documents::routes)
        .configure(claims::routes)
        .configure(reports::routes)
        .configure(pictures::routes)
        .configure(brief::routes)
        .service(
            web::resource("/graphql")
                .route(web::post().to(graphql::post))
                .route(
                    web::get()
                        .guard(guard::fn_guard(live::is_wanted))
                        .to(live::open),
                )
                .default_service(web::to(graphql::wrong_method)),
        );
    if mode == Mode::Development {
        routes.route("/graphiql", web::get().to(graphql::graphiql));
    }
    routes.default_service(web::to(problem::no_such_page));
}

/// What every answer says unless its handler said otherwise.
fn headers(config: &Config) -> DefaultHeaders {
    let headers = DefaultHeaders::new()
        .add(("Cache-Control", "no-store"))
        .add((
            "Content-Security-Policy",
            "default-src 'none'; frame-ancestors 'none'",
        ))
        .add(("Cross-Origin-Opener-Policy", "same-origin"))
        .add(("Cross-Origin-Resource-Policy", "same-origin"))
        .add(("Referrer-Policy", "no-referrer"))
        .add(("X-Content-Type-Options", "nosniff"))
        .add(("X-Frame-Options", "DENY"));
    let is_https = config
        .public_url
        .as_ref()
        .is_some_and(|url| url.starts_with("https://"));
    if is_https {
        headers.add(("Strict-Transport-Security", "max-age=31536000"))
    } else {
        headers
    }
}
