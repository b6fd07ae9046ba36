// The version of these headers; the build reads it from here.
#pragma once

#define ECHOSIEVE_VERSION_MAJOR 0
#define ECHOSIEVE_VERSION_MINOR 1
#define ECHOSIEVE_VERSION_PATCH 0
