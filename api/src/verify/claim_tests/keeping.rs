//! Where kept parts went.

use nameplate_entities::kept_part;

use super::*;
use crate::base::ProblemCode::{Malformed, WrongState};
use crate::base::testing::refusals;
use crate::warranty::{LeftBy, ReleaseKeptPart};

#[tokio::test]
async fn a_kept_part_is_sent_back_or_scrapped_by_name_and_a_wrong_word_is_taken_back() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        shop.kept(claimed.call.id).await;
        let db = shop.bench.app.db.read();
        let part = kept_part::Entity::find().one(db).await.unwrap().unwrap();
        let left = |version, left_by, sent_how: Option<&str>| ReleaseKeptPart {
            kept_part_id: part.id,
            version,
            on: today(),
            left_by,
            sent_how: sent_how.map(str::to_owned),
        };
        let parcel = Some("Parcel 4711");
        let odd = warranty::release_kept_part(&shop.owner, left(1, LeftBy::Scrapped, parcel)).await;
        assert_eq!(refusals(odd), [(Malformed, "sentHow".to_owned())]);
        let early = warranty::undo_kept_part_release(&shop.owner, (part.id, 1)).await;
        assert_eq!(refusals(early), [(WrongState, "keptPartId".to_owned())]);
        let scrapped = left(1, LeftBy::Scrapped, None);
        let row = warranty::release_kept_part(&shop.owner, scrapped).await;
        assert_eq!(row.unwrap().scrapped_on, Some(today()));
        let row = warranty::undo_kept_part_release(&shop.owner, (part.id, 2)).await;
        assert_eq!(row.unwrap().scrapped_on, None);
        let sent = left(3, LeftBy::SentBack, None);
        let row = warranty::release_kept_part(&shop.owner, sent)
            .await
            .unwrap();
        assert_eq!((row.sent_on, row.sent_how), (Some(today()), None));
        let again = left(4, LeftBy::SentBack, parcel);
        let again = warranty::release_kept_part(&shop.owner, again).await;
        assert_eq!(refusals(again), [(WrongState, "keptPartId".to_owned())]);
        shop.claims_in_order().await;
    }
}
