//! A small reader of HTML: enough to find a tag that is not closed or a resource from outside.

/// Everything wrong with a page; empty when it is well-formed and needs nothing else.
pub(crate) fn complaints(html: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut open: Vec<String> = Vec::new();
    for tag in tags(html) {
        check_attributes(tag, &mut found);
        let name = name_of(tag);
        if tag.starts_with('!') || tag.ends_with('/') {
            continue;
        }
        if let Some(closed) = tag.strip_prefix('/') {
            match open.pop() {
                Some(last) if last == closed => {}
                last => found.push(format!("</{closed}> closes {last:?}")),
            }
        } else {
            open.push(name.to_owned());
        }
    }
    found.extend(open.iter().map(|name| format!("<{name}> is never closed")));
    for needs in ["src=", "href=", "@import", "url(http", "<script", "<link"] {
        if html.contains(needs) {
            found.push(format!("needs something from outside: {needs}"));
        }
    }
    for wrong in ["NaN", "None", "Some(", ">inf", "null"] {
        if html.contains(wrong) {
            found.push(format!("shows {wrong}"));
        }
    }
    found.extend(twice(html));
    found
}

/// What a person reads, spaces made plain.
pub(crate) fn plain_text(html: &str) -> String {
    let body = html.split("</style>").nth(1).unwrap_or(html);
    let mut text = String::new();
    for part in body.split('<') {
        let (tag, after) = part.split_once('>').unwrap_or(("", part));
        let inline = ["span", "/span", "strong", "/strong", "b", "/b"];
        if !inline.contains(&name_of(tag)) {
            text.push('\n');
        }
        text.push_str(after);
    }
    text.replace("&amp;", "&")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace('\u{202f}', " ")
}

fn tags(html: &str) -> impl Iterator<Item = &str> {
    html.split('<')
        .skip(1)
        .filter_map(|part| Some(part.split_once('>')?.0))
}

fn name_of(tag: &str) -> &str {
    tag.split([' ', '\n']).next().unwrap_or("")
}

fn check_attributes(tag: &str, found: &mut Vec<String>) {
    if !tag.matches('"').count().is_multiple_of(2) {
        found.push(format!("a quotation mark is missing in <{tag}>"));
    }
}

fn twice(html: &str) -> Vec<String> {
    let mut ids: Vec<&str> = html
        .split(" id=\"")
        .skip(1)
        .filter_map(|part| part.split('"').next())
        .collect();
    ids.sort_unstable();
    ids.windows(2)
        .filter(|pair| pair[0] == pair[1])
        .map(|pair| format!("id {} stands twice", pair[0]))
        .collect()
}
