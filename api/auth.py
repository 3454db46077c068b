"""A token for programs. People log in on the page; their session works here too, with the CSRF header."""

from axes.helpers import get_cool_off
from django.contrib.auth import authenticate
from django.contrib.auth.signals import user_logged_in
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.authtoken.models import Token
from rest_framework.exceptions import ValidationError
from rest_framework.permissions import AllowAny
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.errors import TooMany
from api.fields import Input
from api.permissions import Allows
from shop.staff.throttle import LogInThrottle


class LogInInput(Input):
    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=200, trim_whitespace=False, write_only=True)


class TokenOutput(serializers.Serializer):
    token = serializers.CharField(help_text="Send it as the header “Authorization: Token …”.")
    role = serializers.CharField()


class TokenNew(Endpoint):
    permission_classes = [AllowAny]
    authentication_classes = []
    throttle_classes = [LogInThrottle]
    keyed = False
    open_to_all = True

    @extend_schema(request=LogInInput, responses=TokenOutput, auth=[])
    def post(self, request):
        """Log in with username and password and get a token. It is the same one until it is given back."""
        asked = self.body(LogInInput)
        plain = request._request
        user = authenticate(request=plain, username=asked["username"], password=asked["password"])
        if getattr(plain, "axes_locked_out", False):
            plain.axes_locked_out = False  # else the page about it would take the place of our answer
            wait = get_cool_off().total_seconds()
            message = f"Too many wrong passwords for this name: locked for {wait / 60:.0f} min. Ask a manager for help."
            raise TooMany(message, wait=wait, code="locked")
        if user is None:
            raise ValidationError("Username and password do not fit together. Mind capital letters.", code="log_in")
        user_logged_in.send(sender=type(user), request=plain, user=user)
        token, _ = Token.objects.get_or_create(user=user)
        return Response(TokenOutput({"token": token.key, "role": user.role}).data)


class TokenGiveBack(Endpoint):
    permission_classes = [Allows("look")]
    keyed = False

    @extend_schema(request=None, responses={204: None})
    def post(self, request):
        """Give the token back: from now on it opens nothing."""
        self.body(Input)
        Token.objects.filter(user=request.user).delete()
        return Response(status=204)
