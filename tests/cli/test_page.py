"""``matdb page``."""


def test_a_page_is_written(matdb_says, tmp_path):
    target = tmp_path / "cam.html"
    told = matdb_says("page", "cam", "--out", target, "--temp", "-10C..20C", "--part", "0042", "--at", "0C")
    assert (told.code, told.err) == (0, "")
    assert told.out.startswith("Probably suits, ")
    assert f"\nwritten: {target}\n" in told.out
    page = target.read_text(encoding="utf-8")
    assert "never an airworthiness approval" in page
    assert 'min="-10" max="20"' in page
    again = matdb_says("page", "cam", "--out", target)
    assert again.code == 1
    assert "--force" in again.err
    answer = matdb_says("page", "cam", "--out", target, "--temp", "0C..9C", "--most", "1", "--force", "--json").json
    assert answer["bytes"] == target.stat().st_size < 300_000
    assert answer["left_out"] == 2
    assert len(answer["fingerprint"]) == 16


def test_refusals_are_one_line(matdb_says, tmp_path):
    for words in (
        ("nobody", "--out", tmp_path / "a.html"),
        ("cam", "--out", tmp_path),
        ("cam", "--out", "a.html", "--temp", "5C"),
    ):
        told = matdb_says("page", *words)
        assert told.code in (1, 2)
        assert (told.out, told.err.count("\n")) == ("", 1)
