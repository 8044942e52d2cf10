"""A photo with both cards in, the height of the zero reference over the landmark out."""
