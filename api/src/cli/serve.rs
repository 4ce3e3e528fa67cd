//! The running server: requests and mail, until the machine asks it to end.

use std::io::Write;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use tokio::signal::unix::{SignalKind, signal};

use crate::base::App;
use crate::http;

use super::{Failure, Outcome};

/// Serves until SIGTERM or SIGINT; then running requests finish.
pub async fn serve(app: &Arc<App>) -> Outcome {
    let failed = |error: std::io::Error| Failure::new("the server cannot start", &error);
    let mut terminate = signal(SignalKind::terminate()).map_err(failed)?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(failed)?;
    let shared = http::Shared::new(Arc::clone(app));
    let (server, address) = http::bind(&shared).map_err(|error| {
        let doing = format!("nothing can listen on {}", app.config.listen);
        Failure::new(&doing, &error)
    })?;
    let handle = server.handle();
    let serving = tokio::spawn(server);
    say(&format!("nameplate listening on http://{address}"));
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
    shared.leaving.store(true, Ordering::Relaxed);
    tracing::info!("asked to end; running requests finish first");
    handle.stop(true).await;
    match serving.await {
        Ok(ended) => ended.map_err(|error| Failure::new("the server did not end well", &error))?,
        Err(error) => return Err(Failure::new("the server did not end well", &error)),
    }
    Ok(ExitCode::SUCCESS)
}

/// A line for whoever started the program; a closed standard output is no reason to stop.
fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}");
    let _ = out.flush();
}
