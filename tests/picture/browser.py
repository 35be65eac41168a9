"""A real browser for the field page: the one that Debian ships, driven through its own driver."""

from debian import first, programs


def _found():
    return first("chromium", "chromium-browser"), first("chromedriver")


def start(profile):
    """A headless browser that writes down its console and every request."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    told = "the field page is tested in a real browser"
    browser, driver = programs(_found, ("chromium", "chromium-driver"), told)
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for word in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--no-first-run",
        f"--user-data-dir={profile}",
    ):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=Service(driver))
