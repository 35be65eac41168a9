"""``matdb store publish``."""


def test_it_counts_its_rows(matdb_says, store):
    told = matdb_says("store", "publish")
    assert (told.code, told.err) == (0, "")
    rows = int(told.out.split(": ")[-1].split()[0])
    answer = matdb_says("store", "publish", "--json").json
    assert answer["rows"] == rows > 1000
    assert "published_stiffness_step" in answer["views"]
    assert matdb_says("store", "publish", "--material", "nobody").code == 1
