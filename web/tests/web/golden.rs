//! Golden pages and golden JSON, one scene at a time: the reviewer reads the difference.

use crate::{rig::Rig, scenes};

#[tokio::test]
async fn now_in_every_scene() {
    for scene in scenes::ALL {
        let rig = Rig::of(scene);
        let page = rig.get("/").await.text;
        // Style and script have their own review.
        let main = page.split_once("<main").unwrap().1.split("</main>").next().unwrap();
        insta::assert_snapshot!(format!("now_{scene}"), format!("<main{main}</main>"));
        let pretty = serde_json::to_string_pretty(&rig.get("/api/v1/now").await.json()).unwrap();
        insta::assert_snapshot!(format!("json_{scene}"), pretty);
    }
}

#[tokio::test]
async fn questions() {
    for (name, scene, path) in [
        ("question", "held", "/answer/swapped"),
        ("question_open", "how_full", "/answer/how-full"),
        ("change_bank", "fine", "/bank?bank=Long+six"),
        ("charged", "fine", "/bank?bank=Blue+ten"),
    ] {
        let page = Rig::of(scene).get(path).await.text;
        let main = page.split_once("<main").unwrap().1.split("</main>").next().unwrap();
        insta::assert_snapshot!(name, format!("<main{main}</main>"));
    }
}

#[tokio::test]
async fn station() {
    for scene in ["fine", "blind", "no_sensor"] {
        let page = Rig::of(scene).get("/station").await.text;
        let main = page.split_once("<main").unwrap().1.split("</main>").next().unwrap();
        insta::assert_snapshot!(format!("station_{scene}"), format!("<main{main}</main>"));
    }
}
