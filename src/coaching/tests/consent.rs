//! Who consents to what.

use super::*;

#[test]
fn consent_to_sharing_means_consent_to_keeping() {
    let said = |keep, share| PlayerRequest {
        consent: ConsentRequest { keep, share, date: Some(DAY), by: None },
        ..PlayerRequest::new("p01")
    };
    let refusal = said(Some(false), Some(true)).check(None, None).unwrap_err();
    assert!(matches!(refusal, PlayerRefusal::SharedNotKept { .. }), "{refusal}");
    let both = said(Some(true), Some(true)).check(None, None).unwrap();
    let refusal = said(Some(false), None).check(Some(&both), None).unwrap_err();
    assert!(matches!(refusal, PlayerRefusal::SharedNotKept { .. }), "{refusal}");
    assert!(!said(Some(false), Some(false)).check(Some(&both), None).unwrap().consent.keep);
    let only = PlayerRequest {
        squads: SquadsRequest::Only(vec!["boys".to_owned()]),
        ..PlayerRequest::new("p01")
    };
    let known = crate::library::Player { squads: vec!["girls".to_owned()], ..both };
    assert_eq!(only.check(Some(&known), None).unwrap().squads, ["boys"]);
}

#[test]
fn consent_is_given_by_somebody_and_a_junior_does_not_give_it_alone() {
    use crate::library::{Consent, ConsentBy};
    use jiff::ToSpan;
    let said = |consent, by, born| PlayerRequest {
        consent: ConsentRequest::given(consent, DAY, by),
        born: Some(born),
        ..PlayerRequest::new("p01")
    };
    let (junior, adult) = (DAY - 17.years(), DAY - 18.years());
    let (player, guardian) = (Some(ConsentBy::Player), Some(ConsentBy::Guardian));
    let refusal = said(ConsentGiven::Keep, player, junior).check(None, None).unwrap_err();
    assert!(matches!(refusal, PlayerRefusal::JuniorAlone { .. }), "{refusal}");
    for (by, born) in [(guardian, junior), (player, adult), (None, junior)] {
        let known = said(ConsentGiven::Keep, by, born).check(None, None).unwrap();
        let consent = Consent { keep: true, share: false, date: Some(DAY), by };
        assert_eq!(known.consent, consent);
        // The same said again without a name is still theirs; something else is nobody's yet.
        let again = said(ConsentGiven::Keep, None, born).check(Some(&known), None).unwrap();
        assert_eq!(again.consent, consent);
        let more = said(ConsentGiven::KeepAndShare, None, born).check(Some(&known), None).unwrap();
        assert_eq!(more.consent, Consent { share: true, by: None, ..consent });
    }
}
