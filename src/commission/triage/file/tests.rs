use super::*;

/// looprig's own file can be read, and every cause of it shows something that another check than a workshop's can see.
#[test]
fn own_knowledge_is_whole() {
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(known.causes.len(), 31);
}
