//! The HTTP edge as clients, browsers and strangers meet it. The published audits are in `tests/conformance`.

use std::time::{Duration, Instant};

use reqwest::{Method, RequestBuilder, Response};
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql;
use crate::support::server::{Ask, Role, Server, ServerOptions};

const JSON: &str = "application/json";

async fn server(options: ServerOptions) -> (TestDatabase, Server) {
    let db = TestDatabase::sqlite().await;
    let server = Server::start(&db, options).await;
    (db, server)
}

fn request(server: &Server, method: Method, path: &str) -> RequestBuilder {
    let url = format!("{}{path}", server.base_url());
    server.http().request(method, url)
}

fn post(server: &Server, query: &str) -> RequestBuilder {
    request(server, Method::POST, "/graphql").json(&json!({ "query": query }))
}

async fn send(request: RequestBuilder) -> (u16, Response) {
    let response = request.send().await.expect("an answer");
    (response.status().as_u16(), response)
}

fn header<'a>(response: &'a Response, name: &str) -> &'a str {
    let value = response
        .headers()
        .get(name)
        .unwrap_or_else(|| panic!("no {name} in {:?}", response.headers()));
    value.to_str().expect("a header of text")
}

async fn body(response: Response) -> Value {
    let text = response.text().await.expect("a body");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("no JSON ({error}): {text}"))
}

/// Insists on an answer of a request that never ran, with this code.
async fn never_ran(response: Response, code: &str) {
    let answer = body(response).await;
    assert!(answer.get("data").is_none(), "{answer}");
    let codes = graphql::error_codes(&answer);
    assert!(codes.iter().all(|found| *found == code), "{answer}");
    assert!(!codes.is_empty());
}

#[tokio::test]
async fn a_token_nobody_holds_is_refused_before_anything_runs() {
    let (_db, server) = server(ServerOptions::default()).await;
    for authorization in ["Bearer nobody", "Basic b2xpdmU6cGx1bQ==", "Bearer", ""] {
        let request = post(&server, "{ __typename }").header("Authorization", authorization);
        let (status, response) = send(request).await;
        assert_eq!(status, 401, "{authorization:?}");
        assert_eq!(header(&response, "www-authenticate"), "Bearer");
        never_ran(response, "UNAUTHENTICATED").await;
    }
}

#[tokio::test]
async fn a_token_ends_when_its_holder_signs_out() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Office).await;
    let answer = server
        .graphql(
            Some(&token),
            "mutation { signOut { ended problems { code } } }",
            json!({}),
        )
        .await;
    graphql::done(&answer, "signOut");
    let ask = Ask {
        token: Some(&token),
        query: "{ __typename }",
        ..Ask::default()
    };
    assert_eq!(server.ask(ask).await.expect("an answer").status, 401);
}

#[tokio::test]
async fn nobody_may_ask_for_the_shop() {
    let (_db, server) = server(ServerOptions::default()).await;
    let (status, response) = send(post(&server, "{ me { id } shop { name } }")).await;
    assert_eq!(status, 294);
    let answer = body(response).await;
    assert_eq!(graphql::error_codes(&answer), ["UNAUTHENTICATED"]);
    assert_eq!(answer["errors"][0]["path"], json!(["shop"]));
}

#[tokio::test]
async fn a_failed_field_that_may_be_null_leaves_its_siblings() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    let request = post(&server, r#"{ me { email } node(id: "nothing") { id } }"#);
    let (status, response) = send(request.bearer_auth(token)).await;
    assert_eq!(status, 294);
    let answer = body(response).await;
    assert_eq!(graphql::error_codes(&answer), ["BAD_INPUT"]);
    assert_eq!(answer["errors"][0]["path"], json!(["node"]));
    assert!(graphql::at(&answer, "data.node").is_null());
    graphql::text(&answer, "data.me.email");
}

#[tokio::test]
async fn what_is_no_graphql_request_is_described_as_a_problem() {
    let (_db, server) = server(ServerOptions::default()).await;
    let mutation = "mutation { signOut { ended } }";
    let graphql = |method| request(&server, method, "/graphql");
    let cases = [
        (404, request(&server, Method::GET, "/no/such/page")),
        (404, request(&server, Method::POST, "/graphql/")),
        (405, graphql(Method::GET).query(&[("query", mutation)])),
        (405, graphql(Method::PUT)),
        (405, graphql(Method::OPTIONS)),
        (
            406,
            post(&server, "{ me { id } }").header("Accept", "text/html"),
        ),
        (415, graphql(Method::POST).body(mutation)),
        (
            415,
            graphql(Method::POST)
                .header("Content-Type", "text/plain")
                .body("{}"),
        ),
        (
            415,
            graphql(Method::POST)
                .header("Content-Type", JSON)
                .header("Content-Encoding", "gzip")
                .body("{}"),
        ),
        (
            403,
            post(&server, "{ me { id } }").header("Origin", "https://elsewhere.test"),
        ),
        (403, post(&server, "{ me { id } }").header("Origin", "null")),
    ];
    for (wanted, request) in cases {
        let (status, response) = send(request).await;
        assert_eq!(status, wanted, "{:?}", response.url());
        assert_eq!(
            header(&response, "content-type"),
            "application/problem+json"
        );
        if wanted == 405 {
            assert_eq!(header(&response, "allow"), "POST");
        }
        let problem = body(response).await;
        assert_eq!(problem["status"], json!(wanted));
        assert!(problem["detail"].is_string());
    }
}

#[tokio::test]
async fn a_page_of_our_own_may_ask() {
    let (_db, server) = server(ServerOptions::default()).await;
    for origin in [server.base_url(), "https://nameplate.test"] {
        let (status, _) = send(post(&server, "{ __typename }").header("Origin", origin)).await;
        assert_eq!(status, 200, "{origin}");
    }
}

#[tokio::test]
async fn ten_megabytes_are_refused_and_the_sender_reads_why() {
    let (_db, server) = server(ServerOptions::default()).await;
    let query = format!("{{ __typename }} #{}", "x".repeat(10 * 1024 * 1024));
    let (status, response) = send(post(&server, &query)).await;
    assert_eq!(status, 413);
    assert_eq!(body(response).await["status"], json!(413));
    assert_eq!(send(post(&server, "{ __typename }")).await.0, 200);
}

#[tokio::test]
async fn documents_made_to_exhaust_the_server_are_refused_at_once() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    let doubling = (0..40)
        .map(|n| format!("fragment f{n} on Query {{ ...f{} ...f{} }}", n + 1, n + 1))
        .collect::<Vec<_>>()
        .join(" ");
    let lists = format!("{}1{}", "[".repeat(50_000), "]".repeat(50_000));
    let cases = [
        ("{ a ".repeat(200) + &"}".repeat(200), "TOO_MUCH_ASKED"),
        ("{ a ".repeat(50) + &"}".repeat(50), "TOO_MUCH_ASKED"),
        ("{ a ".repeat(16) + &"}".repeat(16), "INVALID_REQUEST"),
        ("{ a ".repeat(100_000), "TOO_MUCH_ASKED"),
        (
            format!("{{ node(id: {lists}) {{ id }} }}"),
            "TOO_MUCH_ASKED",
        ),
        (
            format!("{{ ...f0 }} {doubling} fragment f40 on Query {{ __typename }}"),
            "TOO_MUCH_ASKED",
        ),
        (
            format!("{{ {} }}", "me { id } ".repeat(3_000)),
            "TOO_MUCH_ASKED",
        ),
    ];
    for (query, code) in cases {
        let started = Instant::now();
        let (status, response) = send(post(&server, &query).bearer_auth(&token)).await;
        assert!((400..500).contains(&status), "{status}");
        let start: String = query.chars().take(40).collect();
        assert!(started.elapsed() < Duration::from_secs(5), "{start}");
        never_ran(response, code).await;
    }
    assert_eq!(send(post(&server, "{ __typename }")).await.0, 200);
}

#[tokio::test]
async fn a_costly_list_is_refused_before_it_is_read() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    let addresses = "serviceAddresses { customer { serviceAddresses { customer { id } } } }";
    let list = format!("customers(first: 100) {{ edges {{ node {{ id name {addresses} }} }} }}");
    let query = format!("{{ a: {list} b: {list} c: {list} d: {list} e: {list} f: {list} }}");
    for (query, is_costly) in [
        (query.as_str(), true),
        (
            "{ customers(first: 100) { edges { node { id name } } } }",
            false,
        ),
    ] {
        let (status, response) = send(post(&server, query).bearer_auth(&token)).await;
        if is_costly {
            assert_eq!(status, 422);
            never_ran(response, "TOO_MUCH_ASKED").await;
        } else {
            assert_eq!(status, 200);
        }
    }
}

#[tokio::test]
async fn a_page_of_any_size_and_too_many_aliases_or_directives_ask_too_much() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    let aliases = (0..40).map(|n| format!("a{n}: __typename"));
    let aliases = aliases.collect::<Vec<_>>().join(" ");
    let most = i32::MAX;
    let inner = format!("serviceCalls(first: {most}) {{ edges {{ node {{ id }} }} }}");
    for query in [
        format!("{{ ratedRepairs(by: LOT, key: \"1\", first: {most}) {{ edges {{ cursor }} }} }}"),
        format!(
            "{{ customers(last: {most}) {{ edges {{ node {{ id }} }} }} a: {inner} b: {inner} }}"
        ),
        format!("{{ {aliases} }}"),
        format!("{{ __typename {} }}", "@include(if: true) ".repeat(9)),
    ] {
        let (status, response) = send(post(&server, &query).bearer_auth(&token)).await;
        assert_eq!(status, 422, "{query}");
        never_ran(response, "TOO_MUCH_ASKED").await;
    }
}

#[tokio::test]
async fn a_variable_that_may_be_left_out_is() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    let query = "query($n: Int, $after: String) { customers(first: $n, after: $after) { edges { node { id } } } }";
    for variables in [
        json!({}),
        Value::Null,
        json!({ "n": null }),
        json!({ "n": 3 }),
    ] {
        let body = json!({ "query": query, "variables": variables });
        let request = request(&server, Method::POST, "/graphql").json(&body);
        let (status, response) = send(request.bearer_auth(&token)).await;
        let answer = self::body(response).await;
        assert_eq!(status, 200, "{variables}: {answer}");
        assert_eq!(answer["data"]["customers"]["edges"], json!([]));
    }
}

#[tokio::test]
async fn a_subscription_is_sent_to_the_socket() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    for query in [
        "subscription { flagRaised { level } }",
        "subscription Told { flagRaised { level } }",
    ] {
        let (status, response) = send(post(&server, query).bearer_auth(&token)).await;
        assert_eq!(status, 422);
        never_ran(response, "INVALID_REQUEST").await;
    }
}

#[tokio::test]
async fn variables_are_checked_before_anything_runs() {
    let (_db, server) = server(ServerOptions::default()).await;
    let sign_in = "mutation($input: SignInInput!) { signIn(input: $input) { token } }";
    for variables in [
        json!({}),
        json!({ "input": null }),
        json!({ "input": { "email": "a@nameplate.test" } }),
        json!({ "input": { "email": 7, "password": "x" } }),
        json!({ "input": { "email": "a", "password": "x", "role": "OWNER" } }),
        json!({ "input": [] }),
    ] {
        let body = json!({ "query": sign_in, "variables": variables });
        let (status, response) = send(request(&server, Method::POST, "/graphql").json(&body)).await;
        assert_eq!(status, 422, "{variables}");
        never_ran(response, "INVALID_REQUEST").await;
    }
}

#[tokio::test]
async fn every_answer_is_guarded_and_carries_its_id() {
    let (_db, server) = server(ServerOptions::default()).await;
    let mut ids = Vec::new();
    for request in [
        post(&server, "{ __typename }"),
        post(&server, "{ nothing }"),
        request(&server, Method::GET, "/livez"),
        request(&server, Method::GET, "/readyz"),
        request(&server, Method::GET, "/no/such/page"),
    ] {
        let (_, response) = send(request).await;
        for (name, value) in [
            ("cache-control", "no-store"),
            ("referrer-policy", "no-referrer"),
            ("x-content-type-options", "nosniff"),
            ("x-frame-options", "DENY"),
        ] {
            assert_eq!(header(&response, name), value);
        }
        assert!(header(&response, "content-security-policy").contains("frame-ancestors 'none'"));
        assert!(header(&response, "strict-transport-security").starts_with("max-age="));
        ids.push(header(&response, "x-request-id").to_owned());
    }
    let log = server.log();
    assert!(log.contains(&ids[0]), "the log does not name {}", ids[0]);
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), 5);
}

#[tokio::test]
async fn the_log_holds_no_secret_of_a_path_or_a_body() {
    let (_db, mut server) = server(ServerOptions::default()).await;
    let staff = server.add_staff(Role::Owner);
    let token = server.sign_in(&staff).await;
    send(request(
        &server,
        Method::GET,
        "/e/secret-of-a-link?also=this",
    ))
    .await;
    let query = r#"{ node(id: "secret-of-a-body") { id } }"#;
    send(post(&server, query).bearer_auth(&token)).await;
    let log = server.log();
    for secret in [
        "secret-of-a-link",
        "also=this",
        "secret-of-a-body",
        &token,
        &staff.password,
    ] {
        assert!(!log.contains(secret), "{secret} is in the log");
    }
}

#[tokio::test]
async fn strangers_do_not_learn_the_schema_of_a_shop_and_staff_do() {
    let (_db, mut server) = server(ServerOptions::default().production()).await;
    let token = server.token(Role::Technician).await;
    let query = "{ __schema { queryType { name } } }";
    let stranger = server.graphql(None, query, json!({})).await;
    assert!(stranger["data"]["__schema"].is_null(), "{stranger}");
    let staff = server.graphql(Some(&token), query, json!({})).await;
    assert_eq!(
        graphql::text(&staff, "data.__schema.queryType.name"),
        "Query"
    );
    let (status, _) = send(request(&server, Method::GET, "/graphiql")).await;
    assert_eq!(status, 404);
}

#[tokio::test]
async fn tools_can_read_the_whole_schema_in_development() {
    let (_db, server) = server(ServerOptions::default()).await;
    // As the tools of the reference implementation ask, nine types deep.
    let of_type = "ofType { kind name ".repeat(9) + &"}".repeat(9);
    let query = format!(
        "query IntrospectionQuery {{ __schema {{ queryType {{ name }} mutationType {{ name }} types {{ ...FullType }}
            directives {{ name description isRepeatable locations args {{ ...InputValue }} }} }} }}
        fragment FullType on __Type {{ kind name description specifiedByURL
            fields(includeDeprecated: true) {{ name description args {{ ...InputValue }} type {{ ...TypeRef }} isDeprecated deprecationReason }}
            inputFields {{ ...InputValue }} interfaces {{ ...TypeRef }}
            enumValues(includeDeprecated: true) {{ name description isDeprecated deprecationReason }}
            possibleTypes {{ ...TypeRef }} }}
        fragment InputValue on __InputValue {{ name description type {{ ...TypeRef }} defaultValue }}
        fragment TypeRef on __Type {{ kind name {of_type} }}"
    );
    let answer = server.graphql(None, &query, json!({})).await;
    graphql::data(&answer);
    assert!(graphql::list(&answer, "data.__schema.types").len() > 20);
    let (status, page) = send(request(&server, Method::GET, "/graphiql")).await;
    assert_eq!(status, 200);
    assert!(header(&page, "content-type").starts_with("text/html"));
}

#[tokio::test]
async fn asked_to_end_the_server_finishes_what_runs() {
    let (db, mut server) = server(ServerOptions::default()).await;
    let staff = server.add_staff(Role::Owner);
    let query = "mutation($input: SignInInput!) { signIn(input: $input) { token } }";
    let input = json!({ "input": { "email": staff.email, "password": staff.password } });
    let body = json!({ "query": query, "variables": input });
    // Checking a password takes a while, so these are running when the signal comes.
    let requests: Vec<_> = (0..4)
        .map(|_| {
            let request = request(&server, Method::POST, "/graphql").json(&body);
            tokio::spawn(async move { request.send().await.map(|answer| answer.status()) })
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(30)).await;
    let status = server.stop().await;
    assert!(status.success(), "{status}");
    for answer in requests {
        if let Ok(status) = answer.await.expect("a request") {
            assert_eq!(status, 200);
        }
    }
    drop(db);
}

#[tokio::test]
async fn behind_a_proxy_tries_are_counted_by_client() {
    let sign_in = |server: &Server, client: &str, number: usize| {
        let query =
            "mutation($input: SignInInput!) { signIn(input: $input) { problems { code } } }";
        let input =
            json!({ "email": format!("nobody{number}@nameplate.test"), "password": "wrong" });
        request(server, Method::POST, "/graphql")
            .header("X-Forwarded-For", format!("203.0.113.9, {client}"))
            .json(&json!({ "query": query, "variables": { "input": input } }))
    };
    for (behind_proxy, code_of_another) in [("true", "SIGN_IN_FAILED"), ("false", "TOO_MANY_TRIES")]
    {
        let options = ServerOptions::default().set("NAMEPLATE_BEHIND_PROXY", behind_proxy);
        let (_db, server) = server(options).await;
        let mut refused = false;
        for number in 0..90 {
            let answer = body(send(sign_in(&server, "192.0.2.1", number)).await.1).await;
            refused = graphql::problem_codes(&answer, "signIn") == ["TOO_MANY_TRIES"];
            if refused {
                break;
            }
        }
        assert!(refused, "ninety tries from one address were admitted");
        let answer = body(send(sign_in(&server, "192.0.2.2", 100)).await.1).await;
        let codes = graphql::problem_codes(&answer, "signIn");
        assert_eq!(codes, [code_of_another], "behind a proxy: {behind_proxy}");
    }
}
