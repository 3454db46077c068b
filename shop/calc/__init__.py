"""The arithmetic of the bench: pure Python, standard library only, SI floats in and out unless a name says otherwise."""
