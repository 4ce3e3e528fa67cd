//! The running server: requests and mail, until the machine asks it to end.

use std::io::Write;
use std::process::ExitCode;
use std::sync::Arc;

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::watch;

use crate::base::App;
use crate::mail::Transport;
use crate::{http, jobs};

use super::{Failure, Outcome};

/// Serves until SIGTERM or SIGINT; then running requests and a mail on its way finish.
pub async fn serve(app: &Arc<App>) -> Outcome {
    let failed = |error: std::io::Error| Failure::new("the server cannot start", &error);
    let mut terminate = signal(SignalKind::terminate()).map_err(failed)?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(failed)?;
    let shared = http::Shared::new(Arc::clone(app))
        .map_err(|error| Failure::new("the schema is wrong", &error))?;
    let (server, address) = http::bind(&shared).map_err(|error| {
        let doing = format!("nothing can listen on {}", app.config.listen);
        Failure::new(&doing, &error)
    })?;
    let transport = Transport::of(&app.config).map_err(Failure)?;
    let handle = server.handle();
    say(&transport.describe());
    let (stop, stopped) = watch::channel(false);
    let mut sending = tokio::spawn(jobs::run(Arc::clone(app), transport, stopped));
    let mut serving = tokio::spawn(server);
    say(&format!("nameplate listening on http://{address}"));
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
        // Neither ends by itself. If one does, whoever watches over the program starts it again.
        _ = &mut sending => return Err(Failure("the mail worker broke down".to_owned())),
        _ = &mut serving => return Err(Failure("the server broke down".to_owned())),
    }
    shared.leaving.send_replace(true);
    tracing::info!("asked to end; running requests finish first");
    handle.stop(true).await;
    // The receiver is gone only if the worker broke down, which its own result says below.
    let _ = stop.send(true);
    let unwell = |error: &dyn std::error::Error| Failure::new("the server did not end well", error);
    serving
        .await
        .map_err(|error| unwell(&error))?
        .map_err(|error| unwell(&error))?;
    sending.await.map_err(|error| unwell(&error))?;
    Ok(ExitCode::SUCCESS)
}

/// A line for whoever started the program; a closed standard output is no reason to stop.
fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}");
    let _ = out.flush();
}
