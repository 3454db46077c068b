from shop.core.logs import hide_tokens


def test_a_customers_link_does_not_stand_in_the_log():
    event = {"request": "GET /r/eyJpZCI6MX0:abc-DEF_1/stop/", "event": 'Not Found: /r/abc/ "x"', "code": 200}
    hidden = hide_tokens(None, "info", event)
    assert hidden == {"request": "GET /r/…/stop/", "event": 'Not Found: /r/…/ "x"', "code": 200}
